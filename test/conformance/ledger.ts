// Every case that the documents publish. A case either runs or says why it cannot.
import { LEAST_TOLERANCE_DB, M_WEIGHTING_TABLE } from '../testkit/m-weighting.ts'

export type PublishedCase = {
  /** Document, edition and number. */
  readonly id: string
  readonly document: string
  readonly signal: string
  readonly figure: string
  /** Null: nothing to be measured is the right answer. */
  readonly expected: number | null
  /** How far below and above `expected` the document lets a meter read. */
  readonly tolerance: readonly [number, number]
  readonly unit: string
  readonly state: 'run' | { readonly absent: string }
}

const RECORDED = { absent: 'recorded programme, not redistributable' } as const

const BS_1770 = 'ITU-R BS.1770-5'
const BS_2217 = 'Report ITU-R BS.2217'
const TECH_3341 = 'EBU Tech 3341 v4'
const TECH_3342 = 'EBU Tech 3342 v4'
const ISO_21727 = 'ISO 21727:2016'
const OWN = 'Cross-check signals'

type Details = Pick<PublishedCase, 'signal' | 'figure' | 'expected' | 'unit'> & {
  readonly tolerance: number | readonly [number, number]
  readonly state?: PublishedCase['state']
}

function published(document: string, id: string, { tolerance, state = 'run', ...details }: Details): PublishedCase {
  const both = typeof tolerance === 'number' ? ([tolerance, tolerance] as const) : tolerance
  return { id, document, ...details, tolerance: both, state }
}

/** @source EBU Tech 3341 v4, Table of minimum requirements; true-peak tolerance +0.2 / -0.4 dB */
const tech3341: readonly PublishedCase[] = [
  ...loudness3341(1, '1 kHz stereo -23 dBFS, 20 s', 'M, S (whole run) and I', -23),
  ...loudness3341(2, '1 kHz stereo -33 dBFS, 20 s', 'M, S (whole run) and I', -33),
  ...loudness3341(3, '-36, -23, -36 dBFS', 'I', -23),
  ...loudness3341(4, '-72, -36, -23, -36, -72 dBFS', 'I', -23),
  ...loudness3341(5, '-26, -20, -26 dBFS', 'I', -23),
  ...loudness3341(6, '5.0: L R -28, C -24, Ls Rs -30 dBFS; also as 5.1', 'I', -23),
  ...loudness3341(7, 'authentic programme, narrow range', 'I', -23, RECORDED),
  ...loudness3341(8, 'authentic programme, wide range', 'I', -23, RECORDED),
  ...loudness3341(9, '(-20 for 1.34 s, -30 for 1.66 s) x 5', 'S, constant after 3 s', -23),
  ...series3341(10, (i) => ({
    signal: `file ${i}: tone 3 s after ${(0.15 * i).toFixed(2)} s`,
    figure: 'max S',
    expected: -23,
  })),
  ...series3341(11, (i) => ({ signal: `segment ${i} of 20`, figure: 'max S so far', expected: -38 + i })),
  ...loudness3341(12, '(-20 for 0.18 s, -30 for 0.22 s) x 25', 'M, constant after 1 s', -23),
  ...series3341(13, (i) => ({
    signal: `file ${i}: tone 0.4 s after ${(0.02 * i).toFixed(2)} s`,
    figure: 'max M',
    expected: -23,
  })),
  ...series3341(14, (i) => ({ signal: `segment ${i} of 20`, figure: 'max M so far', expected: -38 + i })),
  ...truePeak3341(15, 'sine fs/4, 0 degrees', -6),
  ...truePeak3341(16, 'sine fs/4, 45 degrees', -6),
  ...truePeak3341(17, 'sine fs/6, 60 degrees', -6),
  ...truePeak3341(18, 'sine fs/8, 67.5 degrees', -6),
  ...truePeak3341(19, 'sine fs/4, 45 degrees, peak +3.01 dB', 3),
  ...[0, 1, 2, 3].flatMap((offset) => truePeak3341(20 + offset, `burst at 192 kHz decimated from sample ${offset}`, 0)),
]

function loudness3341(
  number: number | string,
  signal: string,
  figure: string,
  expected: number,
  state: PublishedCase['state'] = 'run',
): readonly PublishedCase[] {
  return [
    published(TECH_3341, `tech-3341/${number}`, { signal, figure, expected, tolerance: 0.1, unit: 'LUFS', state }),
  ]
}

function series3341(
  number: number,
  of: (i: number) => Pick<PublishedCase, 'signal' | 'figure'> & { readonly expected: number },
): readonly PublishedCase[] {
  return Array.from({ length: 20 }, (_, i) => {
    return published(TECH_3341, `tech-3341/${number}-${i}`, { ...of(i), tolerance: 0.1, unit: 'LUFS' })
  })
}

function truePeak3341(number: number, signal: string, expected: number): readonly PublishedCase[] {
  const details = { signal, figure: 'max true peak', expected, tolerance: [0.4, 0.2] as const, unit: 'dBTP' }
  return [published(TECH_3341, `tech-3341/${number}`, details)]
}

/** @source EBU Tech 3342 v4, Table of minimum requirements: +-1 LU */
const tech3342: readonly PublishedCase[] = (
  [
    ['-20, -30 dBFS', 10],
    ['-20, -15 dBFS', 5],
    ['-40, -20 dBFS', 20],
    ['-50, -35, -20, -35, -50 dBFS', 15],
    ['authentic programme 1', 5, RECORDED],
    ['authentic programme 2', 15, RECORDED],
  ] as const
).map(([signal, expected, state], index) =>
  published(TECH_3342, `tech-3342/${index + 1}`, {
    signal,
    figure: 'loudness range',
    expected,
    tolerance: 1,
    unit: 'LU',
    state: state ?? 'run',
  }),
)

const TARGETS = [23, 24]
const PARTLY_PUBLISHED = { absent: 'the published description does not fix the signal' } as const
const MORE_CHANNELS = { absent: 'recorded programme, not redistributable; more channels than our layouts' } as const

/** @source Report ITU-R BS.2217, list of 47 files: +-0.1 LKFS */
const bs2217: readonly PublishedCase[] = TARGETS.flatMap((target) => [
  ...[25, 100, 500, 1000, 2000, 10_000].map((hz) =>
    bs2217Case(`Comp_${target}LKFS_${hz}Hz_2ch`, `${hz} Hz, L and R in phase`, -target),
  ),
  ...['Left', 'Right', 'Centre', 'Ls', 'Rs'].map((name) =>
    bs2217Case(`Comp_${target}LKFS_ChannelCheck${name}`, '1 kHz in one channel of 5.1', -target),
  ),
  bs2217Case(`Comp_${target}LKFS_ChannelCheckLFE`, '1 kHz in the LFE alone', null),
  bs2217Case(`Comp_${target}LKFS_SummingTest`, 'tones in all channels of 5.1', -target, PARTLY_PUBLISHED),
  bs2217Case(`Conf_Mono_Voice+Music-${target}LKFS`, 'voice and music, mono', -target, RECORDED),
  bs2217Case(`Conf_Stereo_VinL+R-${target}LKFS`, 'voice in L and R', -target, RECORDED),
  ...['VinCntr', 'VinL+R', 'VinL-R-C'].map((name) =>
    bs2217Case(`Conf_6ch_${name}-${target}LKFS`, 'voice in 5.1', -target, RECORDED),
  ),
  ...[8, 10, 12, 24].map((count) =>
    bs2217Case(`1770Conf-${target}LKFS-${count}channel`, `${count} channels`, -target, MORE_CHANNELS),
  ),
]).concat([
  bs2217Case('Comp_18LKFS_FrequencySweep', 'sweep, mono', -18, PARTLY_PUBLISHED),
  bs2217Case('Comp_AbsGateTest', '1 kHz at -90 and -69.5 dBFS by turns', -69.5),
  bs2217Case('Comp_RelGateTest', '1 kHz at -90, -19.9, -7.1, -19.9, -90 dBFS', -10),
])

function bs2217Case(
  file: string,
  signal: string,
  expected: number | null,
  state: PublishedCase['state'] = 'run',
): PublishedCase {
  return published(BS_2217, `bs-2217/${file}`, {
    signal,
    figure: 'programme loudness',
    expected,
    tolerance: 0.1,
    unit: 'LKFS',
    state,
  })
}

/** Values that follow from the text and its equations. @source ITU-R BS.1770-5 Annex 1, equations 1 and 2, Table 3 */
const bs1770: readonly PublishedCase[] = [
  bs1770Case('997-left', '997 Hz 0 dBFS in L', -3.01),
  bs1770Case('997-right', '997 Hz 0 dBFS in R', -3.01),
  bs1770Case('997-centre', '997 Hz 0 dBFS in C', -3.01),
  bs1770Case('997-left-surround', '997 Hz -20 dBFS in Ls', -21.518),
  bs1770Case('997-right-surround', '997 Hz -20 dBFS in Rs', -21.518),
  bs1770Case('997-lfe', '997 Hz -20 dBFS in LFE', null),
  bs1770Case('997-all', '997 Hz -20 dBFS in all six channels', -15.361),
  bs1770Case('1k-stereo', '1 kHz -23 dBFS in L and R', -22.993),
  bs1770Case('1k-three-fronts', '1 kHz -23 dBFS in L, R and C', -23 - 3.01 + 10 * Math.log10(3) + 0.007),
  bs1770Case('1k-mono', '1 kHz -23 dBFS, one-channel file', -26.003),
  bs1770Case('997-rear', '7.1: 997 Hz -20 dBFS in Lrs', -23.01),
  bs1770Case('997-side', '7.1: 997 Hz -20 dBFS in Ls', -21.518),
]

function bs1770Case(name: string, signal: string, expected: number | null): PublishedCase {
  const details = { signal, figure: 'programme loudness', expected, tolerance: 0.01, unit: 'LKFS' }
  return published(BS_1770, `bs-1770/${name}`, details)
}

/** Table 1 as Leq(m) of a tone against that of the table's 0 dB, and values that follow from table and replay levels. */
const iso21727: readonly PublishedCase[] = [
  ...M_WEIGHTING_TABLE.map(([hz, gainDb, toleranceDb]) =>
    published(ISO_21727, `iso-21727/weighting-${hz}`, {
      signal: `${hz} Hz in C, at 48 kHz`,
      figure: 'M-weighting',
      expected: gainDb,
      tolerance: Math.max(toleranceDb, LEAST_TOLERANCE_DB),
      unit: 'dB',
      state: hz < 24000 ? 'run' : { absent: 'above half the sample rate; held at 88.2 kHz and more by a unit test' },
    }),
  ),
  leqMCase('2k-centre', '2 kHz -20 dBFS in C', 85),
  leqMCase('1k-centre', '1 kHz -20 dBFS in C', 79.4),
  leqMCase('6k3-centre', '6.3 kHz -20 dBFS in C', 91.6),
  leqMCase('2k-left-surround', '2 kHz -20 dBFS in Ls', 82),
  leqMCase('2k-lfe', '2 kHz -20 dBFS in LFE', 95),
]

function leqMCase(name: string, signal: string, expected: number): PublishedCase {
  const details = { signal, figure: 'Leq(m)', expected, tolerance: 0.05, unit: 'dB' }
  return published(ISO_21727, `iso-21727/${name}`, details)
}

/** Values read by libebur128 1.2.6 and by SciPy, range by FFmpeg 5.1.9, on signals that anybody can make again. */
const crossChecks: readonly PublishedCase[] = [
  ...crossCheck('x1', '2.0 stepped noise', [-16.142, 13.99, -10.573, -10.62]),
  ...crossCheck('x2', '5.1 stepped noise', [-14.82, 13.99, -9.265, -9.299]),
  ...crossCheck('x2-lo-ro', 'the same folded to Lo/Ro', [-15.623, 13.99, -10.041, -10.086]),
  ...crossCheck('x2-lo-ro-in-pass', 'the same, fold-down measured with the 5.1', [-15.623, 13.99, -10.041, -10.086]),
  ...crossCheck('x2-mono', 'the same folded to mono', [-17.035, 13.99, -11.427, -11.486]),
]

function crossCheck(name: string, signal: string, expected: readonly number[]): readonly PublishedCase[] {
  const figures = [
    ['programme loudness', 0.002, 'LKFS'],
    ['loudness range', 0.01, 'LU'],
    ['max M', 0.01, 'LKFS'],
    ['max S', 0.01, 'LKFS'],
  ] as const
  return figures.map(([figure, tolerance, unit], index) =>
    published(OWN, `${name}/${figure.replaceAll(' ', '-')}`, {
      signal,
      figure,
      expected: expected[index] as number,
      tolerance,
      unit,
    }),
  )
}

export const LEDGER: readonly PublishedCase[] = [
  ...bs1770,
  ...bs2217,
  ...tech3341,
  ...tech3342,
  ...iso21727,
  ...crossChecks,
]

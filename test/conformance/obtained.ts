// What our meter reads of every case that runs. Whole product path: raw PCM, segment by segment, joined, described.
import {
  describeMeasured,
  joinMeasured,
  type LoudnessFigures,
  leqM,
  type Measured,
  type Measurements,
  momentary,
  segmentAt,
  segmentCount,
  shortTerm,
} from '../../src/domain/index.ts'
import { measureSegment, mWeightedEnergies } from '../../src/engine/measure/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { M_WEIGHTING_TABLE } from '../testkit/m-weighting.ts'
import { sourceOf } from '../testkit/sources.ts'
import {
  amplitude,
  decimatedBurst,
  fadedSine,
  foldedLoRo,
  foldedMono,
  inBoth,
  inChannels,
  RATE_HZ,
  type Signal,
  type Stretch,
  sine,
  steppedNoise,
} from './signals.ts'

const kernels = loadKernels(16 * 1024 * 1024)

export function measureSignal({ planes, layout }: Signal): Measured {
  const source = sourceOf(planes, layout, RATE_HZ)
  const segments = Array.from({ length: segmentCount(source.frameCount, RATE_HZ) }, (_, index) => {
    return segmentAt(index, source.frameCount, RATE_HZ)
  })
  return joinMeasured(segments.map((segment) => measureSegment(kernels, source, segment)))
}

/** All that a case reads: every value must lie inside the tolerance. */
export type Obtained = readonly (number | null)[]

type Runs = ReadonlyMap<string, () => Obtained>

const total = (signal: Signal): Obtained => [describeMeasured(measureSignal(signal)).programmeLoudnessLkfs]

const maxTruePeak = (signal: Signal): Obtained => [describeMeasured(measureSignal(signal)).maxTruePeakDbtp]

/** Lowest and highest value of a history from `from` on. */
function span(history: Float64Array, from = 0): readonly number[] {
  const values = history.subarray(from)
  return [values.reduce((low, x) => Math.min(low, x)), values.reduce((high, x) => Math.max(high, x))]
}

/** M, S and I of a steady tone. */
function steady(signal: Signal): Obtained {
  const measured = measureSignal(signal)
  const { programmeLoudnessLkfs } = describeMeasured(measured)
  const { programme10ms } = measured
  return [...span(momentary(programme10ms)), ...span(shortTerm(programme10ms)), programmeLoudnessLkfs]
}

const tone = (...stretches: Stretch[]): Signal => inBoth(sine(1000, stretches))

/** The published files hold this instead of digital silence. */
const SILENCE_DBFS = -90

const repeated = (times: number, ...stretches: Stretch[]): Stretch[] => new Array(times).fill(stretches).flat()

/** Tone of `seconds` after a growing gap, as a file of its own. */
const lateTone = (gap: number, seconds: number): Signal => tone([SILENCE_DBFS, gap], [-23, seconds], [SILENCE_DBFS, 1])

/** Twenty such tones in one file, each 1 dB louder than the one before, `period` seconds apart. */
function risingTones(gapStep: number, seconds: number, period: number): Signal {
  return tone(
    ...Array.from({ length: 20 }, (_, i): Stretch[] => [
      [SILENCE_DBFS, gapStep * i],
      [-38 + i, seconds],
      [SILENCE_DBFS, period - seconds - gapStep * i],
    ]).flat(),
  )
}

/** The highest value of a history of windows that have ended by the end of segment i. */
function highestSoFar(history: Float64Array, windowSeconds: number, periodSeconds: number): readonly number[] {
  return Array.from({ length: 20 }, (_, i) => {
    const windows = Math.round(100 * ((i + 1) * periodSeconds - windowSeconds)) + 1
    return span(history.subarray(0, windows))[1] as number
  })
}

function oncePerSegment(id: string, values: () => readonly number[]): readonly (readonly [string, () => Obtained])[] {
  let kept: readonly number[] | null = null
  return Array.from({ length: 20 }, (_, i) => {
    return [
      `${id}-${i}`,
      () => {
        kept ??= values()
        return [kept[i] as number]
      },
    ] as const
  })
}

function asFiveChannels(): Signal {
  const levels = [-28, -28, -24, -30, -30]
  return { layout: '5.0', planes: levels.map((level) => sine(1000, [[level, 20]])) }
}

function withSilentLfe({ planes }: Signal): Signal {
  const silence = new Float64Array(planes[0]?.length ?? 0)
  return { layout: '5.1', planes: [...planes.slice(0, 3), silence, ...planes.slice(3)] }
}

const tech3341: Runs = new Map<string, () => Obtained>([
  ['tech-3341/1', () => steady(tone([-23, 20]))],
  ['tech-3341/2', () => steady(tone([-33, 20]))],
  ['tech-3341/3', () => total(tone([-36, 10], [-23, 60], [-36, 10]))],
  ['tech-3341/4', () => total(tone([-72, 10], [-36, 10], [-23, 60], [-36, 10], [-72, 10]))],
  ['tech-3341/5', () => total(tone([-26, 20], [-20, 20.1], [-26, 20]))],
  ['tech-3341/6', () => [...total(asFiveChannels()), ...total(withSilentLfe(asFiveChannels()))]],
  ['tech-3341/9', () => span(shortTerm(measureSignal(tone(...repeated(5, [-20, 1.34], [-30, 1.66]))).programme10ms))],
  ...Array.from({ length: 20 }, (_, i) => {
    const maxShortTerm = () => [describeMeasured(measureSignal(lateTone(0.15 * i, 3))).maxShortTermLkfs]
    return [`tech-3341/10-${i}`, maxShortTerm] as const
  }),
  ...oncePerSegment('tech-3341/11', () => {
    return highestSoFar(shortTerm(measureSignal(risingTones(0.15, 3, 6)).programme10ms), 3, 6)
  }),
  [
    'tech-3341/12',
    () => span(momentary(measureSignal(tone(...repeated(25, [-20, 0.18], [-30, 0.22]))).programme10ms), 60),
  ],
  ...Array.from({ length: 20 }, (_, i) => {
    const maxMomentary = () => [describeMeasured(measureSignal(lateTone(0.02 * i, 0.4))).maxMomentaryLkfs]
    return [`tech-3341/13-${i}`, maxMomentary] as const
  }),
  ...oncePerSegment('tech-3341/14', () => {
    return highestSoFar(momentary(measureSignal(risingTones(0.02, 0.4, 0.8)).programme10ms), 0.4, 0.8)
  }),
  ['tech-3341/15', () => maxTruePeak(fadedSine(4, 0, amplitude(-6)))],
  ['tech-3341/16', () => maxTruePeak(fadedSine(4, 45, amplitude(-6)))],
  ['tech-3341/17', () => maxTruePeak(fadedSine(6, 60, amplitude(-6)))],
  ['tech-3341/18', () => maxTruePeak(fadedSine(8, 67.5, amplitude(-6)))],
  ['tech-3341/19', () => maxTruePeak(fadedSine(4, 45, 1.41412))],
  ...[0, 1, 2, 3].map((offset) => [`tech-3341/${20 + offset}`, () => maxTruePeak(decimatedBurst(offset))] as const),
])

const range = (...stretches: Stretch[]): Obtained => [
  describeMeasured(measureSignal(tone(...stretches))).loudnessRangeLu,
]

const tech3342: Runs = new Map([
  ['tech-3342/1', () => range([-20, 20], [-30, 20])],
  ['tech-3342/2', () => range([-20, 20], [-15, 20])],
  ['tech-3342/3', () => range([-40, 20], [-20, 20])],
  ['tech-3342/4', () => range([-50, 20], [-35, 20], [-20, 20], [-35, 20], [-50, 20])],
])

/** K-weighting in dB at the test frequencies, computed from the coefficients of BS.1770-5 Annex 1 Tables 1 and 2. */
const K_WEIGHTING_DB: Readonly<Record<number, number>> = {
  25: -10.393,
  100: -1.133,
  500: 0.042,
  1000: 0.698,
  2000: 3.071,
  10000: 4.042,
}

/** Peak level of two equal channels that together have the loudness; @source ITU-R BS.1770-5 Annex 1 equation 2 */
const levelFor = (loudness: number, hz: number): number => loudness + 0.691 - (K_WEIGHTING_DB[hz] as number)

const bs2217: Runs = new Map([
  ...[-23, -24].flatMap((target) => [
    ...Object.keys(K_WEIGHTING_DB).map((hz) => {
      const signal = () => inBoth(sine(Number(hz), [[levelFor(target, Number(hz)), 29]]))
      return [`bs-2217/Comp_${-target}LKFS_${hz}Hz_2ch`, () => total(signal())] as const
    }),
    ...['Left:L', 'Right:R', 'Centre:C', 'Ls:Ls', 'Rs:Rs', 'LFE:LFE'].map((pair) => {
      const [name, role] = pair.split(':') as [string, string]
      const level = target + 3.003 - (name === 'Ls' || name === 'Rs' ? 1.492 : 0)
      const signal = () => inChannels('5.1', [role], sine(1000, [[level, 20]]))
      return [`bs-2217/Comp_${-target}LKFS_ChannelCheck${name}`, () => total(signal())] as const
    }),
  ]),
  [
    'bs-2217/Comp_AbsGateTest',
    () => total(tone([-90, 0.8], ...repeated(2, [-69.5, 0.5], [-90, 0.5]), [-69.5, 0.5], [-90, 0.7])),
  ],
  ['bs-2217/Comp_RelGateTest', () => total(tone([-90, 0.5], [-19.9, 0.9], [-7.1, 1.3], [-19.9, 0.8], [-90, 0.5]))],
])

const in51 = (roles: readonly string[], hz: number, level: number) => () => {
  return total(inChannels('5.1', roles, sine(hz, [[level, 5]])))
}

const bs1770: Runs = new Map<string, () => Obtained>([
  ['bs-1770/997-left', in51(['L'], 997, 0)],
  ['bs-1770/997-right', in51(['R'], 997, 0)],
  ['bs-1770/997-centre', in51(['C'], 997, 0)],
  ['bs-1770/997-left-surround', in51(['Ls'], 997, -20)],
  ['bs-1770/997-right-surround', in51(['Rs'], 997, -20)],
  ['bs-1770/997-lfe', in51(['LFE'], 997, -20)],
  ['bs-1770/997-all', in51(['L', 'R', 'C', 'LFE', 'Ls', 'Rs'], 997, -20)],
  ['bs-1770/1k-stereo', () => total(tone([-23, 5]))],
  ['bs-1770/1k-three-fronts', in51(['L', 'R', 'C'], 1000, -23)],
  ['bs-1770/1k-mono', () => total({ layout: 'mono', planes: [sine(1000, [[-23, 5]])] })],
  ['bs-1770/997-rear', () => total(inChannels('7.1', ['Lrs'], sine(997, [[-20, 5]])))],
  ['bs-1770/997-side', () => total(inChannels('7.1', ['Ls'], sine(997, [[-20, 5]])))],
])

function leqMOf({ planes, layout }: Signal): number | null {
  const source = sourceOf(planes, layout, RATE_HZ)
  const { frameCount } = source
  const sums = mWeightedEnergies(kernels, source, { index: 0, firstFrame: 0, frameCount })
  return leqM(sums, frameCount, layout)
}

const toneLeqM = (role: string, hz: number) => leqMOf(inChannels('5.1', [role], sine(hz, [[-20, 2]])))

/** Leq(m) of a tone at the reference level in a screen channel where the table has 0 dB. */
const REFERENCE_LEQ_M_DB = 85

const iso21727: Runs = new Map<string, () => Obtained>([
  ...M_WEIGHTING_TABLE.filter(([hz]) => hz < RATE_HZ / 2).map(([hz]) => {
    return [`iso-21727/weighting-${hz}`, () => [(toneLeqM('C', hz) as number) - REFERENCE_LEQ_M_DB]] as const
  }),
  ['iso-21727/2k-centre', () => [toneLeqM('C', 2000)]],
  ['iso-21727/1k-centre', () => [toneLeqM('C', 1000)]],
  ['iso-21727/6k3-centre', () => [toneLeqM('C', 6300)]],
  ['iso-21727/2k-left-surround', () => [toneLeqM('Ls', 2000)]],
  ['iso-21727/2k-lfe', () => [toneLeqM('LFE', 2000)]],
])

function figuresOf(name: string, measure: () => LoudnessFigures): readonly (readonly [string, () => Obtained])[] {
  let kept: LoudnessFigures | null = null
  const figure = (pick: (figures: LoudnessFigures) => number | null) => (): Obtained => {
    kept ??= measure()
    return [pick(kept)]
  }
  return [
    [`${name}/programme-loudness`, figure((figures) => figures.programmeLoudnessLkfs)],
    [`${name}/loudness-range`, figure((figures) => figures.loudnessRangeLu)],
    [`${name}/max-M`, figure((figures) => figures.maxMomentaryLkfs)],
    [`${name}/max-S`, figure((figures) => figures.maxShortTermLkfs)],
  ]
}

let x2Noise: Signal | null = null
let x2Figures: Measurements | null = null

function x2(): Signal {
  x2Noise ??= steppedNoise('5.1', [-3, -3, 0, 0, -6, -6])
  return x2Noise
}

function x2Measurements(): Measurements {
  x2Figures ??= describeMeasured(measureSignal(x2()))
  return x2Figures
}

const crossChecks: Runs = new Map([
  ...figuresOf('x1', () => describeMeasured(measureSignal(steppedNoise('2.0', [0, 0])))),
  ...figuresOf('x2', x2Measurements),
  ...figuresOf('x2-lo-ro', () => describeMeasured(measureSignal(foldedLoRo(x2())))),
  ...figuresOf('x2-lo-ro-in-pass', () => x2Measurements().foldDown.loRo as LoudnessFigures),
  ...figuresOf('x2-mono', () => describeMeasured(measureSignal(foldedMono(x2())))),
])

export const RUNS: Runs = new Map([...bs1770, ...bs2217, ...tech3341, ...tech3342, ...iso21727, ...crossChecks])

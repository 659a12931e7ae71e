import { execFileSync } from 'node:child_process'
import { readdirSync } from 'node:fs'
import { beforeAll, describe, expect, it } from 'vitest'
import type { TwoTrackReport } from '../../src/domain/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { forEachMaster, inspectTracks, type KnownMaster, MIX_RATE, tracksOf } from '../testkit/two-track-mixes.ts'

// Outside authority: how each master was made is known. Music and voices are real recordings, the Lt/Rt encoder is
// SciPy's convolution by the equations of ATSC A/52 section 7.8.2 (coefficients from memory), timecode follows
// SMPTE ST 12-1 (from memory). No limit was set on this set of masters; those were set on the set "tune".
const kernels = loadKernels()
const seen = new Map<string, { readonly known: KnownMaster; readonly report: TwoTrackReport }>()

beforeAll(() => {
  forEachMaster('held', (name, known, tracks) => seen.set(name, { known, report: inspectTracks(kernels, tracks) }))
  printConfusion()
})

function mastersThat(isMeant: (known: KnownMaster, name: string) => boolean) {
  const chosen = [...seen].filter(([name, { known }]) => isMeant(known, name))
  expect(chosen.length).toBeGreaterThan(0)
  return chosen.map(([name, each]) => ({ name, ...each }))
}

/** A line per kind that a master is, with what it was called. */
function printConfusion(): void {
  const counts = new Map<string, number>()
  for (const { known, report } of seen.values()) {
    const key = `${known.kind} -> ${report.kind}`
    counts.set(key, (counts.get(key) ?? 0) + 1)
  }
  console.log([...counts].map(([key, count]) => `${String(count).padStart(3)}  ${key}`).join('\n'))
}

const EXACT = ['silent', 'one-sided', 'dual-mono', 'polarity-inverted', 'time-offset', 'plain-stereo'] as const
const TRACKS = ['split-track', 'two-languages', 'tone-on-a-track', 'timecode-on-a-track'] as const

describe('two-track masters whose making is known', () => {
  it.each([...EXACT, ...TRACKS])('%s is called that and nothing else, from end to end', (kind) => {
    for (const { name, known, report } of mastersThat((each) => each.kind === kind)) {
      expect(
        report.stretches.map((stretch) => stretch.kind),
        name,
      ).toEqual([kind])
      expect(report.kind, name).toBe(kind)
      const [stretch] = report.stretches
      if (known.side !== undefined) expect(stretch!.side, name).toBe(known.side)
      if (known.inverted !== undefined) expect(stretch!.isInverted, name).toBe(known.inverted)
      if (known.lag !== undefined) expect(Math.abs(stretch!.figures.lagFrames! - known.lag), name).toBeLessThan(0.2)
    }
  })

  it('nothing but a surround signal is taken for one: no applause, rain, crowd, widened music or lag', () => {
    const alarms = mastersThat((known) => known.kind !== 'matrix-encoded').filter(({ report }) =>
      report.stretches.some(({ kind }) => kind.includes('matrix')),
    )
    expect(alarms.map(({ name }) => name)).toEqual([])
  })

  it('a surround signal at -6 dB and above is found, and named for certain but in noise alone', () => {
    for (const { name, report } of mastersThat((each) => each.kind === 'matrix-encoded')) {
      const isNoise = name.includes('noise in S -6')
      expect(isNoise ? ['matrix-encoded', 'possibly-matrix-encoded'] : ['matrix-encoded'], name).toContain(report.kind)
    }
  })

  it('changes along time are found within a second', () => {
    for (const { name, known, report } of mastersThat((each) => each.stretches !== undefined)) {
      expect(
        report.stretches.map(({ kind }) => kind),
        name,
      ).toEqual(known.stretches!.map(([kind]) => kind))
      for (const [index, [, from, to]] of known.stretches!.entries()) {
        const stretch = report.stretches[index]!
        expect(Math.abs(stretch.startFrame / MIX_RATE - from), name).toBeLessThanOrEqual(1)
        expect(Math.abs(stretch.endFrame / MIX_RATE - to), name).toBeLessThanOrEqual(1)
      }
    }
  })

  it('azimuth is told within 3 us, fixed and drifting, in mono and in stereo', () => {
    for (const { name, known, report } of mastersThat((each) => each.azimuth !== undefined)) {
      const [from, to] = known.azimuth!
      const frameCount = report.stretches.at(-1)!.endFrame
      expect(report.azimuth, name).not.toBeNull()
      for (const { startFrame, endFrame, delayMicroseconds } of report.azimuth!.curve) {
        const meant = from + ((to - from) * (startFrame + endFrame)) / 2 / frameCount
        expect(Math.abs(delayMicroseconds - meant), `${name} at ${startFrame / MIX_RATE} s`).toBeLessThanOrEqual(3)
      }
      expect(report.azimuth!.curve.length, name).toBeGreaterThan(12)
    }
  })

  it('the treble loss of the middle is that of two equal sounds, one of them late', () => {
    const { report } = mastersThat((_, name) => name === 'azimuth 30 us, speech')[0]!
    for (const { frequencyHz, medianDb } of report.azimuth!.trebleLoss) {
      // |1 + e^(-j w t)| / 2 = |cos(w t / 2)|
      const expected = 20 * Math.log10(Math.abs(Math.cos(Math.PI * frequencyHz * 30e-6)))
      expect(Math.abs(medianDb - expected)).toBeLessThan(0.4)
    }
  })

  it('no azimuth is claimed where the delay belongs to the microphones, or where nothing is shared', () => {
    for (const { name, report } of mastersThat((_, each) =>
      /spaced pair|bed only|plain applause|rain|crowd/.test(each),
    )) {
      const most = report.azimuth === null ? 0 : Math.abs(report.azimuth.mostMicroseconds)
      expect(most, name).toBeLessThan(3)
    }
  })

  it('hiss is measured: white noise of -62 dBFS over 24 kHz has a third of its power from 4 to 12 kHz', () => {
    const { report } = mastersThat((_, name) => name === 'dual mono hiss -62')[0]!
    const expected = -62 + 10 * Math.log10(8 / 24)
    expect(Math.abs(report.hiss.leftDbfs! - expected)).toBeLessThan(1)
    expect(Math.abs(report.hiss.rightDbfs! - expected)).toBeLessThan(1)
  })

  it('timecode is read: rate, first label and where it begins', () => {
    for (const { name, known, report } of mastersThat((each) => each.first !== undefined)) {
      expect(report.timecode, name).toHaveLength(1)
      expect(report.timecode[0], name).toMatchObject({ rate: known.rate, firstLabel: known.first })
      expect(Math.abs(report.timecode[0]!.firstLabelFrame - known.firstFrame!), name).toBeLessThanOrEqual(2)
    }
  })

  it('what is told can be written as JSON and reads back the same', () => {
    for (const { report } of seen.values()) expect(JSON.parse(JSON.stringify(report))).toEqual(report)
  })
})

const MUSIC = '/usr/share/games/singularity/music'

describe('real stereo music', () => {
  it.each(readdirSync(MUSIC).filter((name) => name.endsWith('.ogg')))('%s is plain stereo', (name) => {
    const decode = ['-v', 'error', '-ss', '90', '-t', '40', '-i', `${MUSIC}/${name}`, '-f', 'f32le', '-']
    const report = inspectTracks(kernels, tracksOf(execFileSync('ffmpeg', decode, { maxBuffer: 1 << 28 })))
    expect(report.stretches.map(({ kind }) => kind)).toEqual(['plain-stereo'])
    expect(Math.abs(report.azimuth?.mostMicroseconds ?? 0)).toBeLessThan(3)
  })
})

import { describe, expect, test } from 'vitest'
import { dramaEnergies, energyOf, measuredOf, steps as toneSteps } from '../../../../test/testkit/programmes.ts'
import { limit, specOf } from '../../../../test/testkit/specs.ts'
import {
  type DeliverySpec,
  describeMeasured,
  gatedLoudness,
  loudestMomentary,
  loudestShortTerm,
  type Measured,
  type Passage,
  powerGains,
  type SpeechLane,
  toHops,
  trimPoints,
} from '../../../domain/index.ts'
import { findPassages, type PassageSearch } from './index.ts'

const SECOND = 48000

/** Steady stretches that are no tone: one 10 ms is a little louder than the next, the mean stays. */
function steps(...stretches: readonly (readonly [number, number])[]): Float64Array {
  return toneSteps(...stretches).map((power, i) => power * (i % 2 === 0 ? 1.05 : 0.95))
}

function search(powers: Float64Array, spec: DeliverySpec, more: Partial<PassageSearch> = {}): readonly Passage[] {
  const measured = { ...measuredOf(powers, null, '2.0'), ...peaksAt(-20) }
  const whole = { parts: [{ startFrame: 0, measured }], frameCount: measured.frameCount }
  return findPassages({ ...whole, spec, role: 'mix', speech: null, levelSteps: [], ...more })
}

function peaksAt(dbtp: number): Pick<Measured, 'channels'> {
  const peak = { value: 10 ** (dbtp / 20), frameIndex: 5 * SECOND }
  return { channels: [0, 1].map(() => ({ samplePeak: peak, truePeak: peak })) }
}

/** The energies as they would be measured again after the suggested trim. */
function trimmed(powers: Float64Array, { startFrame, endFrame, suggestedTrimDb }: Passage): Float64Array {
  const trim = { startFrame, endFrame, gainDb: suggestedTrimDb ?? 0, glideMs: 100, reason: null }
  const gains = powerGains(trimPoints([trim], Math.ceil(powers.length / 10), 4800) as Float64Array, powers.length)
  return powers.map((power, i) => power * (gains[i] as number))
}

function laneOf(hopCount: number, ...spoken: readonly (readonly [number, number])[]): SpeechLane {
  const isSpeech100ms = new Uint8Array(hopCount)
  for (const [from, to] of spoken) isSpeech100ms.fill(1, from * 10, to * 10)
  return { probability100ms: isSpeech100ms.map((mark) => 255 * mark), isSpeech100ms, modelSha256: '' }
}

const near = (frame: number, seconds: number) => Math.abs(frame - seconds * SECOND) <= SECOND / 2

describe('too loud', () => {
  test('a scene above the short-term line: in and out, the least trim, and the total where the meter would find it', () => {
    const powers = steps([60, -24], [12, -15], [60, -24])
    const spec = specOf(-23, 5, { maxShortTermLkfs: limit(-18) })
    const [passage, ...others] = search(powers, spec)
    expect(others).toEqual([])
    expect(passage).toMatchObject({ kind: 'too-loud', line: 'maxShortTermLkfs', rank: 1, suggestedTrimDb: -3.1 })
    expect(near(passage!.startFrame, 60) && near(passage!.endFrame, 72)).toBe(true)
    expect(passage!.excess).toBeCloseTo(3, 6)
    const after = trimmed(powers, passage!)
    expect(loudestShortTerm(after)?.loudnessLkfs).toBeLessThanOrEqual(-18)
    expect(passage!.effect?.programmeLoudnessAfterLkfs).toBeCloseTo(gatedLoudness(toHops(after)) as number, 9)
    expect(passage!.effect?.programmeLoudnessBeforeLkfs).toBeCloseTo(gatedLoudness(toHops(powers)) as number, 9)
  })

  test('the marginal effect is the slope of the total (BS.1770: a mean of powers)', () => {
    const powers = steps([60, -24], [12, -15], [60, -24])
    const [passage] = search(powers, specOf(-23, 5, { maxShortTermLkfs: limit(-18) }))
    const little = trimmed(powers, { ...passage!, suggestedTrimDb: -0.05 })
    const slope = ((gatedLoudness(toHops(little)) as number) - (gatedLoudness(toHops(powers)) as number)) / -0.05
    expect(passage!.marginalLuPerDb).toBeCloseTo(slope, 2)
  })

  test('hits less than a second apart are one place; each further apart is its own', () => {
    const hit = [0.5, -8] as const
    const powers = steps([30, -24], hit, [0.3, -24], hit, [20, -24], hit, [30, -24])
    const spec = specOf(-23, 5, { maxMomentaryLkfs: limit(-14) })
    const found = search(powers, spec)
    expect(found).toHaveLength(2)
    for (const passage of found) expect(passage.line).toBe('maxMomentaryLkfs')
    const all = found.reduce((rest, passage) => trimmed(rest, passage), powers)
    expect(loudestMomentary(all)?.loudnessLkfs).toBeLessThanOrEqual(-14)
  })

  test('true peak: from the history of every 100 ms, and without it from the highest peak', () => {
    const powers = steps([60, -23])
    const history = new Float32Array(1200).fill(0.1)
    history[2 * 300 + 1] = 1.1
    history[2 * 450] = 1.05
    const spec = specOf(-23, 1, { maxTruePeakDbtp: limit(-1) })
    const measured = { ...measuredOf(powers, null, '2.0'), ...peaksAt(1), truePeak100ms: history }
    const found = search(powers, spec, { parts: [{ startFrame: 0, measured }] })
    expect(found.map(({ line }) => line)).toEqual(['maxTruePeakDbtp', 'maxTruePeakDbtp'])
    expect(found.some(({ startFrame }) => near(startFrame, 30))).toBe(true)
    expect(found.some(({ startFrame }) => near(startFrame, 45))).toBe(true)
    const [only] = search(powers, spec, { parts: [{ startFrame: 0, measured: { ...measured, truePeak100ms: null } }] })
    expect(near(only!.peakFrame, 5)).toBe(true)
    expect(only!.excess).toBeCloseTo(2, 6)
    expect(only!.suggestedTrimDb).toBeLessThanOrEqual(-2)
  })

  test('a total that is missed is laid to the scenes that carry it', () => {
    const powers = steps([100, -24], [30, -16], [100, -24], [10, -19], [60, -24])
    const found = search(powers, specOf(-23, 0.5))
    expect(found[0]).toMatchObject({ kind: 'too-loud', line: 'programmeLoudnessLkfs', rank: 1 })
    expect(near(found[0]!.startFrame, 100) && near(found[0]!.endFrame, 130)).toBe(true)
    expect(found[0]!.effect!.changeLu).toBeLessThan(-1)
    expect(found.length).toBeLessThanOrEqual(3)
  })
})

describe('the Lo/Ro fold-down', () => {
  const surround = (mix: Float64Array, fold: Float64Array, more: Partial<Measured> = {}) => {
    const quiet = peaksAt(-20).channels[0]!
    const peaks = { channels: new Array(6).fill(quiet), foldDown: [quiet, quiet] } as const
    return [{ startFrame: 0, measured: { ...measuredOf(mix, fold, '5.1'), ...peaks, ...more } }]
  }

  test('a peak that only the fold-down has: its place, and the trim that brings it under the line', () => {
    const foldDownTruePeak100ms = new Float32Array(1200).fill(0.1)
    foldDownTruePeak100ms[2 * 300 + 1] = 1.1
    const truePeak100ms = new Float32Array(3600).fill(0.1)
    const mix = steps([60, -23])
    const parts = surround(mix, mix, { truePeak100ms, foldDownTruePeak100ms })
    const spec = specOf(-23, 1, { maxTruePeakDbtp: limit(-1) })
    const [passage, ...others] = search(mix, spec, { parts, role: 'mix-5.1' })
    expect(others).toEqual([])
    expect(passage).toMatchObject({ kind: 'too-loud', line: 'foldDown.loRo.maxTruePeakDbtp', suggestedTrimDb: -1.9 })
    // 20 log10(1.1) = 0.83 dBTP (BS.1770-5 Annex 2), 1.83 dB over.
    expect(passage!.excess).toBeCloseTo(1.828, 3)
    expect(near(passage!.startFrame, 30) && near(passage!.endFrame, 30)).toBe(true)
    expect(passage!.effect).not.toBeNull()
  })

  test('where the mix passes the line too, the mix is told, with the trim that both need', () => {
    const foldDownTruePeak100ms = new Float32Array(1200).fill(0.1)
    const truePeak100ms = new Float32Array(3600).fill(0.1)
    foldDownTruePeak100ms[2 * 300] = 1.3
    truePeak100ms[6 * 300] = 1.0
    const mix = steps([60, -23])
    const parts = surround(mix, mix, { truePeak100ms, foldDownTruePeak100ms })
    const found = search(mix, specOf(-23, 1, { maxTruePeakDbtp: limit(-1) }), { parts, role: 'mix-5.1' })
    // 20 log10(1.3) = 2.28 dBTP in Lo.
    expect(found.map(({ line, suggestedTrimDb }) => [line, suggestedTrimDb])).toEqual([['maxTruePeakDbtp', -3.3]])
  })

  test('a total that only the fold-down misses is laid to where it stands above the target', () => {
    const mix = steps([200, -23])
    const fold = steps([100, -23.5], [40, -15], [60, -23.5])
    const [passage, ...others] = search(mix, specOf(-23, 1), { parts: surround(mix, fold), role: 'mix-5.1' })
    expect(others).toEqual([])
    expect(passage).toMatchObject({ kind: 'too-loud', line: 'foldDown.loRo.programmeLoudnessLkfs' })
    expect(near(passage!.startFrame, 100) && near(passage!.endFrame, 140)).toBe(true)
    expect(passage!.measured).toBeCloseTo(gatedLoudness(toHops(fold)) as number, 6)
    expect(gatedLoudness(toHops(trimmed(fold, passage!)))).toBeLessThan(-22)
    // The effect is told of the mix, which the same trim moves.
    const after = gatedLoudness(toHops(trimmed(mix, passage!))) as number
    expect(passage!.effect?.programmeLoudnessAfterLkfs).toBeCloseTo(after, 9)
  })

  test('is not named for what the mix misses in the same way', () => {
    const powers = steps([100, -24], [30, -16], [100, -24])
    const found = search(powers, specOf(-23, 0.5), { parts: surround(powers, powers), role: 'mix-5.1' })
    expect(found.map(({ line }) => line)).toEqual(['programmeLoudnessLkfs'])
  })
})

test('a peak in a stretch that has to come down further for the total does not stand in for it', () => {
  const powers = steps([60, -10])
  const truePeak100ms = new Float32Array(1200)
  // 0 dBTP, 1 dB over, all along; the total is 13 LU over.
  truePeak100ms.fill(1)
  const measured = { ...measuredOf(powers, null, '2.0'), ...peaksAt(0), truePeak100ms }
  const found = search(powers, specOf(-23, 1, { maxTruePeakDbtp: limit(-1) }), { parts: [{ startFrame: 0, measured }] })
  expect(found.map(({ line, suggestedTrimDb }) => [line, suggestedTrimDb])).toEqual([['programmeLoudnessLkfs', -12]])
})

describe('loudness range', () => {
  const rangeOf = (powers: Float64Array) => describeMeasured(measuredOf(powers, null, '2.0')).loudnessRangeLu
  const asks = (lu: number) => specOf(-20, 20, { maxLoudnessRangeLu: limit(lu) })

  test('the loud end is named, with the least trim under which the range is inside', () => {
    // EBU Tech 3342 table 1, case 1: 20 s at -20 and 20 s at -30 are a range of 10 LU.
    const powers = steps([20, -20], [20, -30])
    const [passage, ...others] = search(powers, asks(7))
    expect(others).toEqual([])
    expect(passage).toMatchObject({ kind: 'too-loud', line: 'loudnessRangeLu', unit: 'LU' })
    // Three decibels, or a tenth more where rounding leaves the range a hair outside.
    expect([-3, -3.1]).toContain(passage!.suggestedTrimDb)
    expect(passage!.measured).toBeCloseTo(10, 0)
    expect(near(passage!.startFrame, 0) && near(passage!.endFrame, 20)).toBe(true)
    expect(rangeOf(trimmed(powers, passage!))).toBeLessThanOrEqual(7)
    const less = { ...passage!, suggestedTrimDb: -2.9 }
    expect(rangeOf(trimmed(powers, less))).toBeGreaterThan(7)
  })

  test('one trim on several stretches, together', () => {
    const powers = steps([60, -35], [20, -17], [60, -35], [30, -18], [60, -35])
    const found = search(powers, asks(12))
    expect(found.map(({ line }) => line)).toEqual(['loudnessRangeLu', 'loudnessRangeLu'])
    const after = found.reduce((rest, passage) => trimmed(rest, passage), powers)
    expect(rangeOf(after)).toBeLessThanOrEqual(12)
    for (const { message } of found) expect(message).toContain('on both such stretches')
    expect(new Set(found.map(({ suggestedTrimDb }) => suggestedTrimDb)).size).toBe(1)
  })

  test('a range that is met with the least room has its place at the loud end', () => {
    const powers = steps([60, -30], [20, -20], [60, -30])
    const [passage] = search(powers, asks(11)).filter(({ line }) => line === 'loudnessRangeLu')
    expect(passage).toMatchObject({ kind: 'thinnest-margin', suggestedTrimDb: null })
    expect(near(passage!.startFrame, 60) && near(passage!.endFrame, 80)).toBe(true)
  })
})

describe('too soft', () => {
  const spoken = (lkfs: number) => [4, lkfs] as const
  const powers = steps(
    [3, -45],
    spoken(-23),
    [3, -45],
    spoken(-23),
    [3, -45],
    spoken(-30),
    [3, -45],
    spoken(-23),
    [3, -45],
    spoken(-23),
  )
  const lane = laneOf(350, [3, 7], [10, 14], [17, 21], [24, 28], [31, 35])

  test('a line of dialogue far under the rest', () => {
    const [passage, ...others] = search(powers, specOf(-24, 3), { speech: lane })
    expect(others).toEqual([])
    expect(passage).toMatchObject({ kind: 'too-soft', line: 'dialogueLevel', dialogueShare: 1 })
    expect(near(passage!.startFrame, 17) && near(passage!.endFrame, 21)).toBe(true)
    // 7.1 LU under the rest once the background at -45 is taken off both; lines this even allow 4.
    expect(passage!.suggestedTrimDb).toBe(3.2)
  })

  // BS.1770 counts C with weight 1: what stands in C is the line, what swells in the fronts is not.
  test('in a 5.1 a line is judged in C: music that swells beside it does not hide it', () => {
    const even = steps([3, -45], spoken(-23), [3, -45], spoken(-23), [3, -45], spoken(-23), [3, -45], spoken(-23))
    const withMusic = Float64Array.from(powers, (power, i) => even[i] ?? power)
    const measured = { ...measuredOf(powers), programme10ms: withMusic }
    const found = search(withMusic, specOf(-24, 3), { parts: [{ startFrame: 0, measured }], speech: lane })
    expect(found).toMatchObject([{ kind: 'too-soft', line: 'dialogueLevel', suggestedTrimDb: 3.2 }])
    expect(near(found[0]!.startFrame, 17) && near(found[0]!.endFrame, 21)).toBe(true)
  })

  test('nothing is said to be too soft where nobody listened, or nobody speaks', () => {
    for (const speech of [null, laneOf(350)]) {
      expect(search(powers, specOf(-24, 3), { speech }).every(({ kind }) => kind === 'thinnest-margin')).toBe(true)
    }
  })

  test('short-term under the target by more than 8 LU for more than 3 s of dialogue', () => {
    const soft = steps([60, -23], [8, -33], [60, -23])
    const [passage, ...others] = search(soft, specOf(-23, 1), { speech: laneOf(1280, [0, 128]) })
    expect(others).toEqual([])
    expect(passage).toMatchObject({ kind: 'too-soft', line: 'shortTermLkfs' })
    expect(passage!.startFrame).toBeGreaterThan(60 * SECOND)
    expect(passage!.endFrame).toBeLessThan(69 * SECOND)
  })
})

describe('level steps and tones', () => {
  const step = (seconds: number, stepDb: number, sureness = 1e6) => ({ frame: seconds * SECOND, stepDb, sureness })

  test('a step and the opposite one hold a passage, others may lie inside; a chance step in between does not matter', () => {
    const levelSteps = [step(20, 1.5), step(30, 2), step(35, 1.2, 120), step(38, -2.01), step(100, -1.5)]
    const found = search(steps([120, -23]), specOf(-23, 1), { levelSteps })
    expect(found.map(({ kind, startFrame, endFrame }) => [kind, startFrame / SECOND, endFrame / SECOND])).toEqual([
      ['level-step', 20, 100],
      ['level-step', 30, 38],
    ])
    expect(found[0]!.suggestedTrimDb).toBeCloseTo(-1.5, 2)
  })

  test('what a step explains is not told again: a scene 6 dB up passes the short-term line by itself only', () => {
    const powers = steps([60, -23], [30, -17], [60, -23])
    const spec = specOf(-23, 0.5, { maxShortTermLkfs: limit(-18) })
    const found = search(powers, spec, { levelSteps: [step(60, 6), step(90, -6)] })
    expect(found.map(({ kind }) => kind)).toEqual(['level-step'])
    expect(found[0]!.effect!.programmeLoudnessAfterLkfs).toBeCloseTo(-23, 1)
  })

  test('keyed tones begin as if a gain were cut, again and again: none of them is an edit, but one that is far surer is', () => {
    const keyed = Array.from({ length: 60 }, (_, index) => step(20 + index, index % 2 === 0 ? 3 : -3, 200 + 37 * index))
    const told = (levelSteps: PassageSearch['levelSteps']) =>
      search(steps([120, -23]), specOf(-23, 1), { levelSteps }).filter(({ kind }) => kind === 'level-step')
    expect(told(keyed)).toEqual([])
    const edit = [step(40.5, 4, 1e6), step(52.5, -4, 1e6)]
    const both = [...keyed, ...edit].toSorted((a, b) => a.frame - b.frame)
    expect(told(both).map(({ startFrame, endFrame }) => [startFrame / SECOND, endFrame / SECOND])).toEqual([
      [40.5, 52.5],
    ])
  })

  test('a steady tone in a drama', () => {
    const powers = dramaEnergies(120, 3)
    powers.fill(energyOf(-20), 4000, 5200)
    const found = search(powers, specOf(-23, 20))
    expect(found).toHaveLength(1)
    expect(found[0]).toMatchObject({ kind: 'line-up-tone', startFrame: 40 * SECOND, endFrame: 52 * SECOND })
  })
})

describe('a programme that conforms', () => {
  test('gets its thinnest margins, the thinnest line with the least room, and no trim', () => {
    const spec = specOf(-23, 1, {
      maxShortTermLkfs: limit(-18),
      maxMomentaryLkfs: limit(-15),
      maxTruePeakDbtp: limit(-1),
    })
    const found = search(steps([60, -23], [4, -19.5], [60, -23]), spec)
    expect(found).toHaveLength(3)
    for (const { kind, suggestedTrimDb } of found) expect([kind, suggestedTrimDb]).toEqual(['thinnest-margin', null])
    const shortTerm = found.find(({ line }) => line === 'maxShortTermLkfs')
    expect(near(shortTerm!.startFrame, 60.5)).toBe(true)
    expect(shortTerm!.excess).toBeCloseTo(-1.5, 6)
  })

  test('silence has no passages', () => {
    expect(search(new Float64Array(3000), specOf(-23, 1))).toEqual([])
  })
})

test('segments: places are told in the frames of the file, and no window reaches across a border', () => {
  const spec = specOf(-23, 5, { maxShortTermLkfs: limit(-18) })
  const [first, second] = [steps([30, -24]), steps([30, -24], [10, -15], [30, -24])].map((powers) => ({
    ...measuredOf(powers, null, '2.0'),
    ...peaksAt(-20),
  })) as [Measured, Measured]
  const parts = [
    { startFrame: 10 * SECOND, measured: first },
    { startFrame: 50 * SECOND, measured: second },
  ]
  const [passage] = findPassages({ parts, frameCount: 130 * SECOND, spec, role: 'mix', speech: null, levelSteps: [] })
  expect(near(passage!.startFrame, 80) && near(passage!.endFrame, 90)).toBe(true)
})

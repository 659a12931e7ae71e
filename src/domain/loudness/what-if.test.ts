import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { dramaEnergies, energyOf, seededRandom, steps } from '../../../test/testkit/programmes.ts'
import { powerGains, trimPoints } from '../trims.ts'
import { gatedLoudness, loudestMomentary, loudestShortTerm, loudnessRange, toHops } from './index.ts'
import { type EnergyStretch, WhatIf, type WhatIfFigures } from './what-if.ts'

const HOP = 4800
const TOLERANCE_LU = 1e-9

function stretchOf(powers10ms: Float64Array, place: Partial<EnergyStretch> = {}): EnergyStretch {
  return { powers10ms, file: 0, firstFineHop: 0, isSpeech100ms: null, ...place }
}

/** The same figures from every window, summed one by one and sorted, as the documents write them. */
function byDefinition(stretches: readonly EnergyStretch[], curves: readonly (Float64Array | null)[]) {
  const changed = stretches.map(({ powers10ms, file, firstFineHop }) => {
    const curve = curves[file] ?? null
    const gains = curve === null ? null : powerGains(curve, firstFineHop + powers10ms.length).subarray(firstFineHop)
    return gains === null ? powers10ms : powers10ms.map((power, i) => power * (gains[i] as number))
  })
  const hops = changed.map(toHops)
  const loudness = (power: number) => -0.691 + 10 * Math.log10(power)
  const mean = (powers: readonly number[]) => powers.reduce((sum, power) => sum + power, 0) / powers.length
  const windows = (lists: readonly Float64Array[], length: number) =>
    lists.flatMap((list) =>
      Array.from({ length: Math.max(0, list.length - length + 1) }, (_, i) =>
        mean(Array.from(list.subarray(i, i + length))),
      ),
    )
  // ITU-R BS.1770-5 Annex 1, equations 4 to 7.
  const blocks = windows(hops, 4).filter((power) => loudness(power) > -70)
  const counted = blocks.filter((power) => power > mean(blocks) / 10)
  // EBU Tech 3342 clause 2.2.
  const audible = windows(hops, 30).filter((power) => loudness(power) >= -70)
  const ranked = audible.filter((power) => power >= mean(audible) / 100).sort((a, b) => a - b)
  const rank = (share: number) => loudness(ranked[Math.round((ranked.length - 1) * share)] as number)
  const speech = hops.flatMap((list, index) =>
    Array.from(list).filter((_, hop) => stretches[index]?.isSpeech100ms?.[hop] === 1),
  )
  const highest = (length: number) => windows(changed, length).reduce((max, power) => Math.max(max, power), 0)
  return {
    programme: counted.length === 0 ? null : loudness(mean(counted)),
    range: ranked.length === 0 ? null : rank(0.95) - rank(0.1),
    momentary: highest(40) === 0 ? null : loudness(highest(40)),
    shortTerm: highest(300) === 0 ? null : loudness(highest(300)),
    dialogue: speech.length === 0 || mean(speech) === 0 ? null : loudness(mean(speech)),
  }
}

function expectAlike(figures: WhatIfFigures, wanted: ReturnType<typeof byDefinition>): void {
  const pairs = [
    [figures.programmeLoudnessLkfs, wanted.programme],
    [figures.loudnessRangeLu, wanted.range],
    [figures.momentary?.loudnessLkfs ?? null, wanted.momentary],
    [figures.shortTerm?.loudnessLkfs ?? null, wanted.shortTerm],
    [figures.dialogueLoudnessLkfs, wanted.dialogue],
  ] as const
  for (const [found, value] of pairs) {
    if (found === null || value === null) expect(found).toBe(value)
    else expect(Math.abs(found - value)).toBeLessThan(TOLERANCE_LU)
  }
}

/** Programmes with silence, scenes near the gates, and bursts far above them. */
const energies = fc
  .array(
    fc.record({
      fineHops: fc.integer({ min: 1, max: 450 }),
      lkfs: fc.oneof(
        fc.constant(Number.NEGATIVE_INFINITY),
        fc.double({ min: -80, max: -60, noNaN: true }),
        fc.double({ min: -50, max: -5, noNaN: true }),
      ),
      swingDb: fc.constantFrom(0, 3, 20),
    }),
    { minLength: 1, maxLength: 6 },
  )
  .map((scenes) => {
    const random = seededRandom(scenes.length * 1000 + (scenes[0]?.fineHops ?? 0))
    return Float64Array.from(
      scenes.flatMap(({ fineHops, lkfs, swingDb }) =>
        Array.from({ length: fineHops }, () => energyOf(lkfs - swingDb * random())),
      ),
    )
  })

const speechOf = (hopCount: number, seed: number) => {
  const random = seededRandom(seed)
  return Uint8Array.from({ length: hopCount }, () => Number(random() < 0.3))
}

const stretches = fc
  .array(fc.record({ powers10ms: energies, offset: fc.integer({ min: 0, max: 25 }), hasSpeech: fc.boolean() }), {
    minLength: 1,
    maxLength: 3,
  })
  .map((parts) => {
    let next = 0
    return parts.map(({ powers10ms, offset, hasSpeech }): EnergyStretch => {
      const firstFineHop = next + offset
      next = firstFineHop + powers10ms.length
      const isSpeech100ms = hasSpeech ? speechOf(Math.ceil(powers10ms.length / 10), next) : null
      return { powers10ms, file: 0, firstFineHop, isSpeech100ms }
    })
  })

const gain = fc.oneof(fc.double({ min: -40, max: 40, noNaN: true }), fc.constantFrom(-40, 40, -1, 1.5))
const regions = fc.array(
  fc.record({
    gap: fc.integer({ min: 0, max: 15 * HOP }),
    length: fc.integer({ min: 1, max: 40 * HOP }),
    gainDb: gain,
    glideMs: fc.constantFrom(0, 100, 350, 3000),
  }),
  { maxLength: 4 },
)

function trimsOf(list: readonly { gap: number; length: number; gainDb: number; glideMs: number }[]) {
  let next = 0
  return list.map(({ gap, length, gainDb, glideMs }) => {
    const startFrame = next + gap
    next = startFrame + length
    return { startFrame, endFrame: next, gainDb, glideMs, reason: null }
  })
}

const lengthOf = (list: readonly EnergyStretch[]) =>
  Math.max(...list.map(({ firstFineHop, powers10ms }) => firstFineHop + powers10ms.length))

describe('what if', () => {
  test('any trims on any stretches read as if every window were computed again', () => {
    fc.assert(
      fc.property(stretches, fc.array(regions, { minLength: 1, maxLength: 3 }), (programme, questions) => {
        const whatIf = new WhatIf(programme)
        const hopCount = Math.ceil(lengthOf(programme) / 10)
        // Several questions to one engine: none leaves a trace in the next.
        for (const question of questions) {
          const curve = trimPoints(trimsOf(question), hopCount, HOP)
          expectAlike(whatIf.under([curve]), byDefinition(programme, [curve]))
        }
      }),
      { numRuns: 60 },
    )
  })

  test('a ride that never rests, and the whole programme scaled', () => {
    const ride = fc.array(gain, { minLength: 1, maxLength: 200 }).map((db) => Float64Array.from(db))
    const held = fc.tuple(fc.integer({ min: 1, max: 200 }), gain).map(([n, db]) => new Float64Array(n).fill(db))
    fc.assert(
      fc.property(stretches, fc.oneof(ride, held), (programme, curve) => {
        expectAlike(new WhatIf(programme).under([curve]), byDefinition(programme, [curve]))
      }),
      { numRuns: 40 },
    )
  })

  test('ten minutes of drama read like the meter, to the place of the loudest windows', () => {
    const powers = dramaEnergies(600, 5)
    const whatIf = new WhatIf([stretchOf(powers)])
    const random = seededRandom(11)
    for (let question = 0; question < 60; question++) {
      const startFrame = Math.floor(random() * 550) * 48000
      const endFrame = startFrame + Math.ceil(random() ** 3 * 50 * 48000)
      const trim = { startFrame, endFrame, gainDb: 60 * random() - 40, glideMs: 2000 * random(), reason: null }
      const curve = trimPoints([trim], 6000, HOP)
      const figures = whatIf.under([curve])
      const gains = curve === null ? null : powerGains(curve, powers.length)
      const changed = powers.map((power, i) => power * (gains?.[i] ?? 1))
      expect(figures.programmeLoudnessLkfs).toBeCloseTo(gatedLoudness(toHops(changed)) as number, 9)
      expect(figures.loudnessRangeLu).toBeCloseTo(loudnessRange(toHops(changed)) as number, 9)
      expect(figures.momentary?.loudnessLkfs).toBeCloseTo(loudestMomentary(changed)?.loudnessLkfs as number, 9)
      expect(figures.momentary?.startSeconds).toBe(loudestMomentary(changed)?.startSeconds)
      expect(figures.shortTerm?.loudnessLkfs).toBeCloseTo(loudestShortTerm(changed)?.loudnessLkfs as number, 9)
      expect(figures.shortTerm?.startSeconds).toBe(loudestShortTerm(changed)?.startSeconds)
    }
  })

  test('a trim across the gate makes the total jump, and the jump is told', () => {
    // Half at -24, half just below the gate of -36.99 that the loud half and its own soft half make together.
    const powers = steps([60, -24], [60, -36.85])
    const whatIf = new WhatIf([stretchOf(powers)])
    const lifted = trimPoints(
      [{ startFrame: 60 * 48000, endFrame: 120 * 48000, gainDb: 0.08, glideMs: 0, reason: null }],
      1200,
      HOP,
    )
    expect(whatIf.under([null]).programmeLoudnessLkfs).toBeCloseTo(-24, 1)
    expect(whatIf.under([lifted]).programmeLoudnessLkfs).toBeCloseTo(-26.79, 1)
  })

  test('reels have curves of their own, and their places are told in their own time', () => {
    const [first, second] = [steps([10, -30], [3, -20], [10, -30]), steps([5, -30], [3, -15], [5, -30])]
    const reels = [stretchOf(first), stretchOf(second, { file: 1 })]
    const whatIf = new WhatIf(reels)
    expect(whatIf.under([]).shortTerm).toMatchObject({ file: 1, startSeconds: 5 })
    const curves = [new Float64Array(230).fill(6), new Float64Array(130).fill(-2)]
    expect(whatIf.under(curves).shortTerm).toMatchObject({ file: 0, startSeconds: 10 })
    expectAlike(whatIf.under(curves), byDefinition(reels, curves))
  })

  test('silence, and less than a window, have no figures; a trim makes nothing of them', () => {
    const curve = new Float64Array(20).fill(40)
    const nothing = { programmeLoudnessLkfs: null, loudnessRangeLu: null, momentary: null, shortTerm: null }
    expect(new WhatIf([stretchOf(new Float64Array(200))]).under([curve])).toMatchObject(nothing)
    expect(new WhatIf([stretchOf(steps([0.39, -20]))]).under([curve])).toMatchObject(nothing)
    expect(new WhatIf([]).under([curve])).toMatchObject(nothing)
  })
})

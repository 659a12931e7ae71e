import { describe, expect, test } from 'vitest'
import { OCTAVE_COUNT } from '../../domain/index.ts'
import { alteredDialogue } from './altered-dialogue.ts'
import { alterationHistory, alteredOctaves } from './altered-octaves.ts'
import { largestDistance } from './correlation.ts'

const line = (startFrame: number, overBackgroundLu: number | null) => ({
  startFrame,
  endFrame: startFrame + 48000,
  loudnessLkfs: -24,
  overBackgroundLu,
})

/** 40 hops of a 5.1 in which C and L are equally loud (the LFE far louder), a voice in hops 10 to 19. */
function channelOf(more: object = {}) {
  return {
    sampleRateHz: 48000,
    layout: '5.1' as const,
    channels100ms: Float64Array.from({ length: 40 * 6 }, (_, i) => [0.01, 0, 0.01, 5, 0, 0][i % 6] as number),
    isSpoken: Uint8Array.from({ length: 40 }, (_, hop) => (hop >= 10 && hop < 20 ? 1 : 0)),
    rideDb: null,
    ceilingDbtp: -2,
    ceilingReductionDb: new Float64Array(40),
    centrePeak: new Float64Array(40),
    ...more,
  }
}

describe('dialogue', () => {
  test('is told line by line, those without a background left out', () => {
    const before = [line(0, 10), line(100_000, null), line(200_000, 6), line(300_000, 8)]
    const after = [line(0, 9.5), line(100_000, 4), line(200_000, 6.1), line(300_000, 8)]
    const { figures: told, lines } = alteredDialogue(before, after, channelOf())
    expect(told).toMatchObject({ overBackgroundBeforeLu: 8, medianChangeLu: 0, largestChangeLu: -0.5 })
    expect(told.overBackgroundAfterLu).toBeCloseTo((6.1 + 8) / 2, 12)
    expect(lines.map((each) => [each.overBackgroundBeforeLu, each.overBackgroundAfterLu])).toEqual([
      [10, 9.5],
      [null, 4],
      [6, 6.1],
      [8, 8],
    ])
    expect(lines[1]).toMatchObject({ startSeconds: 100_000 / 48000, endSeconds: 148_000 / 48000 })
  })

  // By hand: 2 dB for the second in which somebody speaks, half of the power being that of others.
  test('gives to the ride what the share of other channels is, the LFE not counted', () => {
    const rideDb = new Float64Array(40).fill(-2)
    const { figures, takenByOthers } = alteredDialogue([], [], channelOf({ rideDb }))
    const { byOtherChannels } = figures
    const spoken = Array.from({ length: 40 }, (_, hop) => (hop >= 10 && hop < 20 ? 1 : 0))
    expect(Array.from(takenByOthers?.rideDb ?? [], (db) => Math.round(1e9 * db) / 1e9)).toEqual(spoken)
    expect(byOtherChannels?.rideDbSeconds).toBeCloseTo(2 * 0.5 * 1, 9)
    expect(byOtherChannels?.ceilingDbSeconds).toBe(0)
  })

  // By hand: 3 dB are taken for half a second of voice; a centre at -1 dBFS below -2 dBTP needs 1 dB of it.
  test('gives to the ceiling what its own peaks did not need', () => {
    const ceilingReductionDb = Float64Array.from({ length: 40 }, (_, hop) => (hop >= 15 && hop < 25 ? 3 : 0))
    const silent = alteredDialogue([], [], channelOf({ ceilingReductionDb }))
    expect(silent.figures.byOtherChannels?.ceilingDbSeconds).toBeCloseTo(1.5, 9)
    const centrePeak = new Float64Array(40).fill(10 ** (-1 / 20))
    const loud = alteredDialogue([], [], channelOf({ ceilingReductionDb, centrePeak }))
    expect(loud.figures.byOtherChannels?.ceilingDbSeconds).toBeCloseTo(1, 6)
  })

  test('has no channel of its own in a two-track', () => {
    const channels100ms = new Float64Array(40 * 2).fill(0.01)
    expect(alteredDialogue([], [], channelOf({ layout: '2.0', channels100ms })).figures.byOtherChannels).toBeNull()
  })
})

/** 20 hops; in hops 5 to 9 the octave of 63 Hz is halved in power, the highest is silent, the others stay. */
function octaves() {
  const isActing = Uint8Array.from({ length: 20 }, (_, hop) => (hop >= 5 && hop < 10 ? 1 : 0))
  const rows = (power: (octave: number) => number) =>
    Float64Array.from({ length: 20 * OCTAVE_COUNT }, (_, index) =>
      isActing[Math.floor(index / OCTAVE_COUNT)] === 1 ? power(index % OCTAVE_COUNT) : 0,
    )
  return {
    isActing,
    octavesBefore: rows((octave) => (octave === OCTAVE_COUNT - 1 ? 0 : 0.02)),
    octavesAfter: rows((octave) => (octave === 1 ? 0.01 : octave === OCTAVE_COUNT - 1 ? 0 : 0.02)),
  }
}

describe('octaves', () => {
  test('tell what was taken while something acted', () => {
    const told = alteredOctaves(octaves())
    expect(told?.actingShare).toBe(0.25)
    expect(told?.removed[1]?.removedDb).toBeCloseTo(10 * Math.log10(2), 9)
    expect(told?.removed[0]?.removedDb).toBeCloseTo(0, 12)
    expect(told?.removed.at(-1)?.removedDb).toBeNull()
  })

  test('over time rest at 0 where nothing acted', () => {
    const ceilingDb = Float64Array.from({ length: 20 }, (_, hop) => (hop === 7 ? 1.5 : 0))
    const history = alterationHistory(octaves(), ceilingDb, 2)
    expect(history?.columnSeconds).toBeCloseTo(0.1, 12)
    expect(history?.octaves[1]?.removedDb.map((db) => Math.round(100 * (db ?? 0)))).toEqual(
      Array.from({ length: 20 }, (_, hop) => (hop >= 5 && hop < 10 ? 301 : 0)),
    )
    expect(history?.ceilingDb[7]).toBe(1.5)
  })

  test('say nothing where nothing but the static gain acted', () => {
    const none = { ...octaves(), isActing: new Uint8Array(20) }
    expect(alteredOctaves(none)).toBeNull()
    expect(alterationHistory(none, new Float64Array(20), 2)).toBeNull()
  })
})

test('two curves are apart by what is left beside the gain', () => {
  const curve = (lkfs: number[]) => ({ windowSeconds: 3, hopSeconds: 0.1, lkfs: Float64Array.from(lkfs) })
  const silent = Number.NEGATIVE_INFINITY
  expect(largestDistance(curve([-20, -30, silent]), curve([-23, -34.5, silent]), -3)).toBeCloseTo(1.5, 12)
  expect(largestDistance(curve([silent]), curve([silent]), -3)).toBeNull()
})

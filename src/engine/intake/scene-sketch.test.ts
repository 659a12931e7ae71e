// Outside authority: level and place of sines and noises are known because they are made here; a full-scale sine reads
// 0 dBFS (AES17, from memory).
import { expect, it } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { seededRandom } from '../../../test/testkit/programmes.ts'
import { sourceOf } from '../../../test/testkit/sources.ts'
import { segmentAt } from '../../domain/index.ts'
import {
  AMBIENCE,
  IN_PHASE,
  LEVEL,
  SKETCH_COLUMNS,
  SKETCH_FLOOR_DB,
  sketchForScenes,
  TONE_BANDS,
} from './scene-sketch.ts'

const RATE = 48000
const FRAMES = 2.05 * RATE
const kernels = loadKernels()

/** The row of the tenth 100 ms, of 20 whole ones. */
function rowOf(left: (frame: number) => number, right: (frame: number) => number): Float32Array {
  const planes = [left, right].map((at) => Float64Array.from({ length: FRAMES }, (_, frame) => at(frame)))
  const source = sourceOf(planes, '2.0', RATE)
  const rows = sketchForScenes(kernels, source, segmentAt(0, source.frameCount, RATE))
  expect(rows.length).toBe(20 * SKETCH_COLUMNS)
  return rows.slice(10 * SKETCH_COLUMNS, 11 * SKETCH_COLUMNS)
}

const sine = (hz: number, amplitude: number) => (frame: number) =>
  amplitude * Math.sin((2 * Math.PI * hz * frame) / RATE)
const noise = (seed: number) => {
  const random = seededRandom(seed)
  const samples = Float64Array.from({ length: FRAMES }, () => 0.2 * (random() - 0.5))
  return (frame: number) => samples[frame] as number
}
const silence = () => 0

it('a sine in both tracks has its level, its octave, no ambience, and is in phase', () => {
  const row = rowOf(sine(700, 0.1), sine(700, 0.1))
  expect(row[LEVEL]).toBeCloseTo(-20, 0)
  expect(row[3]).toBeCloseTo(-20, 0)
  for (const band of [0, 1, 5, 6, 7]) expect(row[band]).toBeLessThan(-60)
  expect(row[AMBIENCE]).toBeCloseTo(0, 3)
  expect(row[IN_PHASE]).toBeCloseTo(1, 3)
})

it('a sine in one track is 3 dB softer, has a direction and nothing in phase', () => {
  const row = rowOf(sine(700, 0.1), silence)
  expect(row[LEVEL]).toBeCloseTo(-23, 0)
  expect(row[AMBIENCE]).toBeCloseTo(0, 3)
  expect(row[IN_PHASE]).toBeCloseTo(0, 3)
})

it('opposite polarity is in phase by -1; unrelated noises have no direction', () => {
  expect(rowOf(sine(700, 0.1), sine(700, -0.1))[IN_PHASE]).toBeCloseTo(-1, 3)
  const row = rowOf(noise(1), noise(2))
  expect(row[AMBIENCE]).toBeGreaterThan(0.8)
  expect(Math.abs(row[IN_PHASE] as number)).toBeLessThan(0.15)
})

it('silence lies on the floor, without ambience and without phase', () => {
  const row = rowOf(silence, silence)
  for (let band = 0; band < TONE_BANDS; band++) expect(row[band]).toBe(SKETCH_FLOOR_DB)
  expect([row[LEVEL], row[AMBIENCE], row[IN_PHASE]]).toEqual([SKETCH_FLOOR_DB, 0, 0])
})

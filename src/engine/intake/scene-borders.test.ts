// Outside authority: the borders are where the sketch was put together; how far hits may lie off is what the page on
// suggested scenes says (0.5 s).
import { describe, expect, it } from 'vitest'
import { seededRandom } from '../../../test/testkit/programmes.ts'
import { alikeStretches, type Sketch } from './scene-borders.ts'
import { AMBIENCE, IN_PHASE, LEVEL, SKETCH_COLUMNS, SKETCH_FLOOR_DB, TONE_BANDS } from './scene-sketch.ts'

type Piece = {
  readonly seconds: number
  readonly levelDb?: number
  /** Octaves against the level: how much they fall from one to the next. */
  readonly tiltDb?: number
  readonly ambience?: number
  readonly speech?: number
}

const WANDER_DB = 2

function sketchOf(pieces: readonly Piece[], seed = 1): Sketch {
  const random = seededRandom(seed)
  const rows: number[] = []
  const speech: number[] = []
  for (const { seconds, levelDb = -26, tiltDb = 3, ambience = 0.2, speech: spoken = 0 } of pieces) {
    for (let hop = 0; hop < 10 * seconds; hop++) {
      const row = new Array<number>(SKETCH_COLUMNS).fill(0)
      const level = levelDb + WANDER_DB * (random() - 0.5)
      for (let band = 0; band < TONE_BANDS; band++) {
        row[band] = Math.max(SKETCH_FLOOR_DB, level - 6 - tiltDb * band + WANDER_DB * (random() - 0.5))
      }
      row[LEVEL] = Math.max(SKETCH_FLOOR_DB, level)
      row[AMBIENCE] = ambience
      row[IN_PHASE] = 0.5
      rows.push(...row)
      speech.push(255 * spoken)
    }
  }
  return { rows: Float32Array.from(rows), speech: Uint8Array.from(speech), hopCount: speech.length }
}

const seconds = (sketch: Sketch) => alikeStretches(sketch).map(({ from, end }) => [from / 10, end / 10])

describe('stretches that sound alike', () => {
  it('are one where nothing changes, however long', () => {
    expect(seconds(sketchOf([{ seconds: 900 }]))).toEqual([[0, 900]])
  })

  it.each([
    ['tone', { tiltDb: 8 }],
    ['level', { levelDb: -50 }],
    ['ambience and speech', { ambience: 0.6, speech: 1 }],
  ])('part where the %s changes, within half a second', (_, other) => {
    const [first, second] = seconds(sketchOf([{ seconds: 40 }, { seconds: 45, ...other }]))
    expect(Math.abs((first as number[])[1]! - 40)).toBeLessThanOrEqual(0.5)
    expect(second).toEqual([first![1], 85])
  })

  it('are told apart by what lies within half a minute of the border: a long piece may drift', () => {
    const drift = Array.from({ length: 60 }, (_, step) => ({
      seconds: 10,
      levelDb: -30 + step / 8,
      tiltDb: 3 + step / 40,
    }))
    expect(seconds(sketchOf(drift))).toEqual([[0, 600]])
  })

  it('are not parted by a pause between sounds that are alike, and leave longer silence out', () => {
    const silence = { seconds: 6, levelDb: -200 }
    expect(seconds(sketchOf([{ seconds: 30 }, silence, { seconds: 30 }]))).toEqual([[0, 66]])
    const long = { seconds: 12, levelDb: -200 }
    expect(seconds(sketchOf([{ seconds: 30 }, long, { seconds: 30 }]))).toEqual([
      [0, 30],
      [42, 72],
    ])
    expect(seconds(sketchOf([{ seconds: 30 }, silence, { seconds: 30, tiltDb: 9, ambience: 0.7 }]))).toEqual([
      [0, 30],
      [36, 66],
    ])
  })

  it('part where the sound changes, not at a pause soon behind it', () => {
    const voice = { tiltDb: 9, ambience: 0.7, speech: 1 }
    const pieces = [{ seconds: 40 }, { seconds: 2, ...voice }, { seconds: 5, levelDb: -200 }, { seconds: 30, ...voice }]
    const [first, second, ...others] = seconds(sketchOf(pieces))
    expect(others).toEqual([])
    expect(Math.abs((first as number[])[1]! - 40)).toBeLessThanOrEqual(0.5)
    expect(second).toEqual([first![1], 77])
  })

  it('do not last less than 8 s, and silence alone has none', () => {
    expect(seconds(sketchOf([{ seconds: 30 }, { seconds: 3, levelDb: -45 }, { seconds: 30 }]))).toEqual([[0, 63]])
    expect(seconds(sketchOf([{ seconds: 20, levelDb: -200 }]))).toEqual([])
    expect(seconds(sketchOf([]))).toEqual([])
  })

  it('cover what sounds, in order and without overlap, whatever it is', () => {
    const random = seededRandom(9)
    const pieces = Array.from({ length: 12 }, () => ({
      seconds: Math.ceil(4 + 30 * random()),
      levelDb: random() < 0.2 ? -200 : -20 - 25 * random(),
      tiltDb: 10 * random(),
      ambience: random(),
      speech: random() < 0.5 ? 1 : 0,
    }))
    const stretches = alikeStretches(sketchOf(pieces))
    for (const [index, { from, end }] of stretches.entries()) {
      expect(end).toBeGreaterThan(from)
      expect(from).toBeGreaterThanOrEqual(stretches[index - 1]?.end ?? 0)
    }
  })
})

// Outside authority: what each stretch is, is known because it is put together here; which start fits what is said on the
// page of starting settings.
import { expect, it } from 'vitest'
import { AMBIENCE, IN_PHASE, LEVEL, SKETCH_COLUMNS, TONE_BANDS } from './scene-sketch.ts'
import { suggestScenes } from './suggest-scenes.ts'

const RATE = 48000
const PROGRAMME = { sampleRateHz: RATE, isLtRt: false } as const

function segmentOf(seconds: number, levelDb: number, inPhase: number, ambience: number): Float32Array {
  const rows = new Float32Array(10 * seconds * SKETCH_COLUMNS)
  for (let at = 0; at < rows.length; at += SKETCH_COLUMNS) {
    for (let band = 0; band < TONE_BANDS; band++) rows[at + band] = levelDb - 6 - 3 * band
    rows[at + LEVEL] = levelDb
    rows[at + AMBIENCE] = ambience
    rows[at + IN_PHASE] = inPhase
  }
  return rows
}

function laneOf(...stretches: readonly (readonly [seconds: number, isSpeech: 0 | 1])[]) {
  const isSpeech100ms = Uint8Array.from(stretches.flatMap(([seconds, is]) => new Array<number>(10 * seconds).fill(is)))
  return { isSpeech100ms, probability100ms: isSpeech100ms.map((is) => 255 * is), modelSha256: '' }
}

const music = segmentOf(40, -20, 0.5, 0.3)
const voices = segmentOf(40, -30, 0.9, 0.05)
const mono = segmentOf(40, -40, 1, 0)

it('music, voices and one sound on both tracks get the settings made for them', () => {
  const speech = laneOf([40, 0], [40, 1], [40, 1])
  const frameCount = 120 * RATE + 123
  const scenes = suggestScenes([music, voices, mono], speech, { ...PROGRAMME, frameCount })
  expect(scenes.map(({ start }) => start)).toEqual(['live-music', 'drama-dialogue', 'mono-source'])
  expect(scenes.map(({ startFrame }) => startFrame / RATE)).toEqual([0, 40, 80])
  expect(scenes.at(-1)?.endFrame).toBe(frameCount)
  expect(scenes.map(({ speechShare }) => speechShare)).toEqual([0, 1, 1])
  expect(scenes[0]?.levelDbfs).toBeCloseTo(-20, 5)
  expect(scenes[0]?.ambienceShare).toBeCloseTo(0.3, 5)
  expect(scenes[0]?.reason).toBe('Here nobody speaks, and 30 % of the energy has no direction.')
})

it('speech in less than a quarter of the time is no dialogue, and says so', () => {
  const scenes = suggestScenes([music], laneOf([36, 0], [4, 1]), { ...PROGRAMME, frameCount: 40 * RATE })
  expect(scenes.map(({ start, reason }) => [start, reason.slice(0, 41)])).toEqual([
    ['live-music', 'Here somebody speaks 10 % of the time onl'],
  ])
})

it('an Lt/Rt gets the settings for one, whatever is heard', () => {
  const frameCount = 80 * RATE
  const scenes = suggestScenes([music, mono], laneOf([40, 0], [40, 1]), { ...PROGRAMME, isLtRt: true, frameCount })
  expect(new Set(scenes.map(({ start }) => start))).toEqual(new Set(['archive-lt-rt']))
})

it('silence has no scene', () => {
  const silence = segmentOf(20, -90, 0, 0)
  expect(suggestScenes([silence], laneOf([20, 0]), { ...PROGRAMME, frameCount: 20 * RATE })).toEqual([])
})

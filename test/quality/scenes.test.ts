// Outside authority: the pieces are joined here, so their borders are known to the sample. Music, voices and joins are
// others than those that thresholds were chosen on. Floors lie below what is reached (docs/scenes-quality.md).
import { execFileSync } from 'node:child_process'
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { byNumpy } from '../testkit/outside.ts'
import { musicTrack, spokenTrack, voiceOver } from '../testkit/spoken-programmes.ts'

const RATE = 48000
const SILENCE_SECONDS = 5
const folder = fileFolder()
const PATH = join(folder, 'joined.wav')
const SHEET = join(folder, 'joined.json')

const borders: number[] = []
type Suggested = { startSeconds: number; endSeconds: number; start: string; reason: string }
let scenes: Suggested[] = []

function writeWav(path: string, planes: readonly Float64Array[]): void {
  const [left, right] = planes as [Float64Array, Float64Array]
  const samples = new Float32Array(2 * left.length)
  for (const [n, sample] of left.entries()) samples.set([sample, right[n] as number], 2 * n)
  writeFileSync(`${path}.f32`, samples)
  const raw = ['-f', 'f32le', '-ar', String(RATE), '-ac', '2', '-i', `${path}.f32`]
  execFileSync('ffmpeg', ['-v', 'error', '-y', ...raw, '-c:a', 'pcm_s24le', path])
}

beforeAll(async () => {
  const music = (name: string, seconds: number) => {
    const { left, right } = musicTrack(`${name}.ogg`, seconds)
    return [left, right]
  }
  const voices = (seconds: number, seed: number) => spokenTrack('held-out', 'prompts', seconds, seed)
  const silence = new Float64Array(SILENCE_SECONDS * RATE)
  const lines = voices(40, 3).samples
  const isLoud = (sample: number) => Math.abs(sample) > 0.01
  const spoken = lines.subarray(lines.findIndex(isLoud), lines.findLastIndex(isLoud))
  const pieces = [
    music('Orbital Elevator', 41),
    music('Through Space', 37),
    voiceOver(voices(45, 2), musicTrack('Enemy Unknown.ogg', 45), 8),
    [spoken, spoken],
    [silence, silence],
    music('Media Threat', 43),
    music('A New Journey', 39),
  ]
  let frames = 0
  for (const [left] of pieces) {
    frames += (left as Float64Array).length
    borders.push(frames / RATE)
  }
  borders.pop()
  const track = (side: number) => {
    const whole = new Float64Array(frames)
    let at = 0
    for (const piece of pieces) {
      whole.set(piece[side] as Float64Array, at)
      at += (piece[side] as Float64Array).length
    }
    return whole
  }
  writeWav(PATH, [track(0), track(1)])
  scenes = (await plimsollMust(['upmix', PATH, '--suggest-scenes', '--write', SHEET, '--json'], 0)).json().scenes
}, PREPARATION_MS)

test('borders are found within half a second, with few others', () => {
  const found = [...new Set(scenes.flatMap(({ startSeconds, endSeconds }) => [startSeconds, endSeconds]))].slice(1, -1)
  const isNear = (a: number) => (b: number) => Math.abs(a - b) <= 0.5
  const missed = borders.filter((border) => !found.some(isNear(border)))
  const others = found.filter((border) => !borders.some(isNear(border)))
  expect(missed.length).toBeLessThanOrEqual(2)
  expect(others.length).toBeLessThanOrEqual(3)
})

test('what is heard decides the settings', () => {
  const startAt = (seconds: number) =>
    scenes.find(({ startSeconds, endSeconds }) => startSeconds <= seconds && seconds < endSeconds)?.start
  expect(startAt(20)).toBe('live-music')
  expect(startAt(60)).toBe('live-music')
  expect(startAt(100)).toBe('drama-dialogue')
  expect(startAt(140)).toBe('mono-source')
  expect(startAt(190)).toBe('live-music')
  expect(scenes.every(({ reason }) => reason.length > 20)).toBe(true)
})

test('the sheet is upmixed as it was written, and the fold-down is the master to the bit', async () => {
  const upmixed = join(folder, 'joined_51.wav')
  await plimsollMust(['upmix', SHEET, upmixed], 0)
  expect(byNumpy('fold', upmixed, PATH)).toMatchObject({ differing: 0 })
})

import { execFileSync } from 'node:child_process'
import { expect, test } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { sourceOf } from '../../../test/testkit/sources.ts'
import { speechWeights } from '../../../test/testkit/speech-model.ts'
import { framesPerSegment, type LayoutName, segmentAt } from '../../domain/index.ts'
import { listenToSegment } from './listen.ts'

// Outside authority: a recorded voice (Debian's pocketsphinx-testdata), brought to other rates by FFmpeg's soxr, and
// where it stands in the programme.
const kernels = loadKernels()
const weights = speechWeights()
const READ_NOVEL = '/usr/share/pocketsphinx/test/data/librivox/sense_and_sensibility_01_austen_64kb-0880.wav'

function voiceAt(sampleRateHz: number): Float64Array {
  const filter = ['-af', `aresample=${sampleRateHz}:resampler=soxr:precision=28`, '-ac', '1', '-f', 'f64le', '-']
  const raw = execFileSync('ffmpeg', ['-v', 'error', '-i', READ_NOVEL, ...filter], { maxBuffer: 1 << 28 })
  return new Float64Array(new Uint8Array(raw).buffer)
}

/** Silence with the voice from one second on. */
function spoken(sampleRateHz: number, seconds: number): Float64Array {
  const plane = new Float64Array(seconds * sampleRateHz)
  plane.set(voiceAt(sampleRateHz), sampleRateHz)
  return plane
}

function heard(planes: readonly Float64Array[], layout: LayoutName, sampleRateHz = 48000, index = 0): Uint8Array {
  const source = sourceOf(planes, layout, sampleRateHz, 'float32')
  return listenToSegment(kernels, weights, source, segmentAt(index, source.frameCount, sampleRateHz))
}

const voice = spoken(48000, 6)
const silence = new Float64Array(voice.length)
const inMono = heard([voice], 'mono')

test('the voice stands where it was put', () => {
  expect(inMono).toHaveLength(60)
  for (let hop = 0; hop < 9; hop++) expect(inMono[hop]).toBeLessThan(40)
  const sure = inMono.subarray(11, 36).filter((probability) => probability > 200)
  expect(sure.length).toBeGreaterThan(20)
  for (let hop = 45; hop < 60; hop++) expect(inMono[hop]).toBeLessThan(40)
})

test('heard is the centre, or the mid of two tracks', () => {
  expect(heard([silence, silence, voice, silence, silence, silence], '5.1')).toEqual(inMono)
  expect(heard([voice, voice], '2.0')).toEqual(inMono)
  const besides = heard([voice, voice, silence, voice, voice, voice], '5.1')
  expect(besides.every((probability) => probability < 40)).toBe(true)
  const outOfPhase = heard([voice, voice.map((sample) => -sample)], '2.0')
  expect(outOfPhase.every((probability) => probability < 40)).toBe(true)
})

test.each([32000, 44100, 88200, 96000, 176400, 192000])('at %i Hz it is the same voice', (rate) => {
  const lane = heard([spoken(rate, 6)], 'mono', rate)
  expect(lane).toHaveLength(60)
  const differences = inMono.map((probability, hop) => Math.abs(probability - lane[hop]!))
  expect(differences.reduce((sum, difference) => sum + difference, 0) / 60).toBeLessThan(3)
})

test('a segment hears 1.6 s before it and nothing earlier, so that it does not matter who listens to it', () => {
  const frames = framesPerSegment(48000)
  const programme = new Float64Array(frames + 4 * 48000)
  programme.set(voiceAt(48000), frames + 1000)
  const first = heard([programme], 'mono', 48000, 1)
  expect(first).toHaveLength(40)
  programme.fill(0.3, 0, frames - 2 * 48000)
  expect(heard([programme], 'mono', 48000, 1)).toEqual(first)
  programme.set(voiceAt(48000).subarray(0, 48000), frames - 48000)
  expect(heard([programme], 'mono', 48000, 1)).not.toEqual(first)
})

import { expect, test } from 'vitest'
import { speechLane, voiceAt, voiceOf } from './speech.ts'

const RATE = 48000
const HOP = RATE / 10

// Outside authority: arithmetic of hops of 100 ms, and that a pause is no voice.
test('a voice is what sounds in lines, with the hop before and after it', () => {
  const probabilities = [0, 90, 0, 0, 0, 0, 50, 200, 210, 45, 220, 60, 0, 0]
  const lane = speechLane([Uint8Array.from(probabilities)])
  expect(lane.isSpeech100ms.join('')).toBe('00000011111100')
  expect(voiceOf(lane)).toEqual([0, 0, 0, 0, 0, 50, 200, 210, 210, 220, 220, 220, 60, 0])
})

test('between the middles of hops it is a straight line, and nothing outside of the programme', () => {
  const voice = [0, 255, 51]
  expect(voiceAt(voice, RATE, 0.5 * HOP)).toBe(0)
  expect(voiceAt(voice, RATE, 1 * HOP)).toBeCloseTo(0.5, 12)
  expect(voiceAt(voice, RATE, 1.5 * HOP)).toBe(1)
  expect(voiceAt(voice, RATE, 2 * HOP)).toBeCloseTo(0.6, 12)
  expect(voiceAt(voice, RATE, 4 * HOP)).toBe(0)
  expect(voiceAt(voice, RATE, -2 * HOP)).toBe(0)
  expect(voiceAt(voice, 96000, 2 * HOP)).toBe(voiceAt(voice, RATE, HOP))
})

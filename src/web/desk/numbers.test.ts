import { describe, expect, test } from 'vitest'
import { dramaEnergies, seededRandom } from '../../../test/testkit/programmes.ts'
import { type HandRide, loudnessOf, type Trim } from '../../domain/index.ts'
import type { OpenedTitle } from './calls.ts'
import { TitleNumbers } from './numbers.ts'

const RATE = 48000
const SECONDS = 120

/** A title of two parts with a second between them, of which nothing but its energies matters. */
function titleOf(parts: readonly Float64Array[]): OpenedTitle {
  const starts = parts.map((_, index) => index * (SECONDS + 1) * RATE)
  return {
    head: {
      ground: { sampleRateHz: RATE, frameCount: parts.length * (SECONDS + 1) * RATE },
      parts: starts.map((startFrame) => ({ startFrame })),
    },
    parts: parts.map((powers10ms) => ({
      powers10ms,
      foldDown10ms: new Float64Array(0),
      isSpoken100ms: new Uint8Array(0),
    })),
  } as unknown as OpenedTitle
}

const parts = [1, 2].map((seed) => dramaEnergies(SECONDS, seed))
const numbers = new TitleNumbers(titleOf(parts))
const random = seededRandom(3)
const trim = (from: number, to: number, glideMs: number): Trim => ({
  startFrame: from * RATE,
  endFrame: to * RATE,
  gainDb: Math.round(20 * random() - 10),
  glideMs,
  reason: null,
})
const ride: HandRide = {
  startFrame: 20 * RATE,
  endFrame: 40 * RATE,
  points: [
    { frame: 25 * RATE, gainDb: -3 },
    { frame: 31 * RATE, gainDb: 5.5 },
  ],
}

/** The mean of the 100 ms of a window around `hop`, each with its gain, from the definition. */
function byDefinition(points: Float64Array | null, hop: number, length: number): number {
  const first = hop - length / 2
  let sum = 0
  for (let at = first; at < first + length; at++) {
    const part = Math.floor(at / ((SECONDS + 1) * 10))
    const from = 10 * (at - part * (SECONDS + 1) * 10)
    const tens = parts[part]?.slice(Math.max(0, from), from + 10)
    if (tens?.length !== 10) return Number.NaN
    sum += (tens.reduce((all, power) => all + power) / 10) * 10 ** ((points?.[at] ?? 0) / 10)
  }
  return sum / length
}

describe('loudness over time under the gains of the mixer', () => {
  test.each([
    ['no gain', []],
    ['one over all of it', [trim(0, 2 * SECONDS + 2, 0)]],
    [
      'some, with steps and glides, one of them across both parts',
      [trim(3, 9, 0), trim(50, 90, 800), trim(110, 140, 5000)],
    ],
    ['a hand ride', [ride]],
    ['more gains than hops to hold still', Array.from({ length: 200 }, (_, at) => trim(at / 2, at / 2 + 0.3, 0))],
  ] as const)('%s: each window is the mean of what it holds (EBU Tech 3341: 3 s and 400 ms)', (_, gains) => {
    const points = numbers.points(gains)
    const { shortTerm, momentary } = numbers.curves(points)
    for (let hop = 0; hop < numbers.hopCount; hop++) {
      for (const [curve, length] of [
        [shortTerm, 30],
        [momentary, 4],
      ] as const) {
        const [found, wanted] = [curve[hop]!, byDefinition(points, hop, length)]
        expect(Number.isNaN(found)).toBe(Number.isNaN(wanted))
        if (wanted > 0) expect(Math.abs(loudnessOf(found) - loudnessOf(wanted))).toBeLessThan(1e-9)
      }
    }
  })
})

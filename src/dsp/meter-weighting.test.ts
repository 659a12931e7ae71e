import { describe, expect, test } from 'vitest'
import { type KBiquads, kBiquads } from './meter-weighting.ts'

/** rate, shelf b0 b1 b2 a1 a2, high-pass a1 a2. @source ITU-R BS.1770-5 Annex 1, Tables 1 and 2 (48 kHz) */
const PUBLISHED = [
  48000, 1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585, -1.99004745483398,
  0.99007225036621,
]

/** The same prototype at other rates, to 14 decimals. @source filter design of libebur128 1.2.6, evaluated apart */
const PROTOTYPE = [
  [
    32000, 1.51117789956876, -2.46488941336014, 1.0416332735223, -1.53904509625064, 0.62696685598156, -1.98508966898869,
    0.98514532066955,
  ],
  [
    44100, 1.53084123005035, -2.65097999515473, 1.16907907992159, -1.66365511325602, 0.71259542807323, -1.9891696736298,
    0.98919903578704,
  ],
  [
    88200, 1.55751537557965, -2.90562707992635, 1.36133397747221, -1.83091998796233, 0.84414226108785,
    -1.99457751545034, 0.99458487587805,
  ],
  [
    96000, 1.5597142289758, -2.92674157825108, 1.37826120231582, -1.84460946989011, 0.85584332293064, -1.99501754472472,
    0.99502375904092,
  ],
  [
    176400, 1.57111531774185, -3.03654450240465, 1.46887161198976, -1.91532931683305, 0.91877174416001,
    -1.99728692242381, 0.99728876502607,
  ],
  [
    192000, 1.57222721509128, -3.04728305156155, 1.47797134097961, -1.92220223060749, 0.92511773511683,
    -1.9975072228407, 0.99750877835551,
  ],
]

describe('coefficients to the last printed digit', () => {
  for (const row of [PUBLISHED, ...PROTOTYPE]) {
    const [sampleRateHz, ...published] = row as [number, ...number[]]
    test(`${sampleRateHz} Hz`, () => {
      const { shelf, highPass } = kBiquads(sampleRateHz)
      const ours = [shelf.b0, shelf.b1, shelf.b2, shelf.a1, shelf.a2, highPass.a1, highPass.a2]
      for (const [index, value] of ours.entries())
        expect(Math.abs(value - (published[index] as number))).toBeLessThan(1e-14)
    })
  }
})

/** K-weighting in dB at 48 kHz, evaluated apart from the published tables. @source ITU-R BS.1770-5 Annex 1 */
const RESPONSE_DB: readonly (readonly [number, number])[] = [
  [20, -13.275],
  [25, -10.393],
  [31.5, -7.79],
  [40, -5.567],
  [50, -3.934],
  [63, -2.664],
  [80, -1.732],
  [100, -1.133],
  [125, -0.728],
  [200, -0.265],
  [250, -0.153],
  [500, 0.042],
  [997, 0.691],
  [1000, 0.698],
  [2000, 3.071],
  [3000, 3.808],
  [4000, 3.968],
  [5000, 4.013],
  [8000, 4.039],
  [10000, 4.042],
  [20000, 4.043],
]

function gainDb({ shelf, highPass }: KBiquads, hz: number, sampleRateHz: number): number {
  const w = (2 * Math.PI * hz) / sampleRateHz
  const power = (c0: number, c1: number, c2: number) => {
    const re = c0 + c1 * Math.cos(w) + c2 * Math.cos(2 * w)
    const im = c1 * Math.sin(w) + c2 * Math.sin(2 * w)
    return re * re + im * im
  }
  const shelfGain = power(shelf.b0, shelf.b1, shelf.b2) / power(1, shelf.a1, shelf.a2)
  return 10 * Math.log10((shelfGain * power(1, -2, 1)) / power(1, highPass.a1, highPass.a2))
}

describe('frequency response', () => {
  test('at 48 kHz as published, within 0.001 dB', () => {
    for (const [hz, expected] of RESPONSE_DB) {
      expect(Math.abs(gainDb(kBiquads(48000), hz, 48000) - expected)).toBeLessThan(0.001)
    }
  })

  test('at every other rate within 0.05 dB of that at 48 kHz', () => {
    for (const sampleRateHz of [32000, 44100, 88200, 96000, 176400, 192000]) {
      for (const [hz, expected] of RESPONSE_DB) {
        if (hz > 0.4 * sampleRateHz) continue
        expect(Math.abs(gainDb(kBiquads(sampleRateHz), hz, sampleRateHz) - expected)).toBeLessThan(0.05)
      }
    }
  })
})

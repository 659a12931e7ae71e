import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { noisePlanes, sourceOf } from '../../test/testkit/sources.ts'
import { type AudioSource, LAYOUTS, type LayoutName, type Role } from '../domain/index.ts'
import type { Crew } from './crew.ts'
import { measureLeqM } from './leq-m-pass.ts'
import { mWeightedEnergies } from './measure/index.ts'
import type { Bench } from './tasks.ts'
import { perform } from './work.ts'

const kernels = loadKernels(8 * 1024 * 1024)

/** Measures a programme in memory, one segment after the other. */
function leqMOf(source: AudioSource) {
  const bench = { kernels, cancellation: { aborted: false }, source: () => source } as unknown as Bench
  const crew: Crew = { map: async (tasks) => tasks.map((task) => perform(bench, task)) }
  return measureLeqM(crew, { ...source, sampleRateHz: source.format.sampleRateHz })
}

/** A tone in some channels, silence in the rest. */
function tone(hz: number, levelDbfs: number, roles: readonly Role[], layout: LayoutName = '5.1', seconds = 2) {
  const wave = Float64Array.from({ length: seconds * 48000 }, (_, n) => {
    return 10 ** (levelDbfs / 20) * Math.sin((2 * Math.PI * hz * n) / 48000)
  })
  const silence = new Float64Array(wave.length)
  return sourceOf(
    LAYOUTS[layout].map((role) => (roles.includes(role) ? wave : silence)),
    layout,
  )
}

describe('check values, computed by hand from ISO 21727: reference level, table and replay levels', () => {
  const cases: readonly (readonly [string, AudioSource, number])[] = [
    ['2 kHz at -20 dBFS in C', tone(2000, -20, ['C']), 85],
    ['1 kHz at -20 dBFS in C', tone(1000, -20, ['C']), 79.4],
    ['6.3 kHz at -20 dBFS in C', tone(6300, -20, ['C']), 91.6],
    ['2 kHz at -20 dBFS in Ls', tone(2000, -20, ['Ls']), 82],
    ['2 kHz at -20 dBFS in Rs of 5.0', tone(2000, -20, ['Rs'], '5.0'), 82],
    ['2 kHz at -20 dBFS in LFE', tone(2000, -20, ['LFE']), 95],
    ['2 kHz at -20 dBFS in L, R and C: powers add, 10 lg 3', tone(2000, -20, ['L', 'R', 'C']), 89.77],
    ['2 kHz at -20 dBFS in both tracks of 2.0', tone(2000, -20, ['L', 'R'], '2.0'), 88.01],
    ['2 kHz at -20 dBFS, mono', tone(2000, -20, ['M'], 'mono'), 85],
    ['2 kHz at -20 dBFS in a rear of 7.1', tone(2000, -20, ['Lrs'], '7.1'), 82],
  ]
  test.each(cases)('%s', async (_, source, expected) => {
    const { leqMDb, findings } = await leqMOf(source)
    expect(Math.abs((leqMDb as number) - expected)).toBeLessThan(0.05)
    expect(findings).toEqual([])
  })
})

test('no gate: silence counts, and halves the energy where it is half of the programme', async () => {
  const wave = Float64Array.from({ length: 12 * 48000 }, (_, n) => (n < 6 * 48000 ? Math.sin(n / 5) : 0))
  const whole = await leqMOf(sourceOf([wave, wave], '2.0', 48000, 'float32'))
  const half = await leqMOf(
    sourceOf(
      [wave, wave].map((plane) => plane.subarray(0, 6 * 48000)),
      '2.0',
      48000,
      'float32',
    ),
  )
  expect((half.leqMDb as number) - (whole.leqMDb as number)).toBeCloseTo(3.0103, 3)
})

test('segments do not show: their energies add up to those of one pass', () => {
  const source = sourceOf(noisePlanes(1, 26 * 32000, seededRandom(5)), 'mono', 32000, 'float32')
  const energyOf = (firstFrame: number, endFrame: number) => {
    const segment = { index: 0, firstFrame, frameCount: endFrame - firstFrame }
    return mWeightedEnergies(kernels, source, segment)[0] as number
  }
  const whole = energyOf(0, source.frameCount)
  for (const border of [3200, 400_000, 25.6 * 32000]) {
    expect(Math.abs((energyOf(0, border) + energyOf(border, source.frameCount)) / whole - 1)).toBeLessThan(1e-12)
  }
})

test('silence has none; more than three minutes is noted', async () => {
  const silent = { ...tone(1000, -20, [], 'mono', 1), readInto: (bytes: Uint8Array) => void bytes.fill(0) }
  expect(await leqMOf({ ...silent, frameCount: 180 * 48000 })).toEqual({ leqMDb: null, findings: [] })
  const { findings } = await leqMOf({ ...silent, frameCount: 181 * 48000 })
  expect(findings).toMatchObject([{ id: 'leq-m-long', severity: 'note', measured: 181, allowed: 180 }])
})

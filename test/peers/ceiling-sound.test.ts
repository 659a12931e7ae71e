// How the ceiling sounds where it works 6 dB deep: steady bass, two notes at once, a kick over a held voice, an LFE.
// Read by float64 NumPy, apart from the product; the figures are those that the fit is held to.
import { execFileSync } from 'node:child_process'
import { writeFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { LAYOUTS, type LayoutName } from '../../src/domain/index.ts'
import { planSlowCeiling } from '../../src/engine/decide/index.ts'
import { measureSegment } from '../../src/engine/measure/index.ts'
import { type RenderedSegment, renderSegment } from '../../src/engine/render/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { sourceOf } from '../testkit/sources.ts'
import { temporaryFolder } from '../testkit/wav.ts'

const RATE = 48000
const CEILING_DBTP = -2
const folder = temporaryFolder()
const kernels = loadKernels(192 * 1024 * 1024)

function oracle(...args: readonly (string | number)[]): Record<string, number> {
  const script = new URL('render-oracle.py', import.meta.url).pathname
  return JSON.parse(execFileSync('/usr/bin/python3', [script, ...args.map(String)], { encoding: 'utf8' }))
}

/** Lets the ceiling act on a programme as a delivery would, its slow part planned from the measurement. */
function limited(planes: readonly Float64Array[], layout: LayoutName, staticGainDb = 0): RenderedSegment {
  const source = sourceOf(planes, layout, RATE)
  const whole = { index: 0, firstFrame: 0, frameCount: source.frameCount }
  const mark = kernels.arena.mark()
  const measured = measureSegment(kernels, source, whole)
  const gain = { staticGainDb, rideDb: null, ceilingDbtp: CEILING_DBTP }
  const rendered = renderSegment(
    kernels,
    {
      source,
      upmixed: null,
      hasLfe: false,
      frontSpread: 1,
      isLtRt: false,
      gain: { ...gain, slowCeiling: planSlowCeiling(measured, gain) },
      encoding: 'int24',
      ditherSeed: [1770, 775],
      stereo: false,
    },
    whole,
  )
  const copied = {
    ...rendered,
    multichannel: rendered.multichannel.slice(),
    gain: rendered.gain.slice(),
    lfeGain: rendered.lfeGain?.slice() ?? null,
  }
  kernels.arena.release(mark)
  return copied
}

const make = (seconds: number, at: (t: number) => number) =>
  Float64Array.from({ length: seconds * RATE }, (_, n) => Math.min(1, n / 2400) * at(n / RATE))
const sine = (hertz: number, t: number) => Math.sin(2 * Math.PI * hertz * t)
const dB = (gain: number) => 20 * Math.log10(gain)
const swing = (gain: Float64Array) => dB(gain.reduce((a, b) => Math.max(a, b)) / gain.reduce((a, b) => Math.min(a, b)))
/** From the third second to the last but one, where everything has settled. */
const settled = <T extends Float64Array>(samples: T) => samples.slice(2 * RATE, samples.length - RATE)

function distortion(name: string, samples: Float64Array, hertz: number) {
  const path = `${folder}/${name}.f64`
  writeFileSync(path, samples)
  return oracle('distortion', path, hertz) as { thdDb: number; levelDb: number }
}

describe('tones 6 dB over the ceiling', () => {
  test.each([
    [16, -80],
    [20, -80],
    [30, -100],
    [50, -110],
    [997, -110],
  ])('%i Hz: THD+N at most %i dB, and the level within 0.1 dB of the ceiling', (hertz, worstDb) => {
    const tone = make(5, (t) => sine(hertz, t))
    const { gain } = limited([tone, tone], '2.0', 4)
    const { thdDb, levelDb } = distortion(`tone-${hertz}`, settled(tone.map((x, n) => x * gain[n]!)), hertz)
    expect(thdDb).toBeLessThanOrEqual(worstDb)
    expect(levelDb).toBeLessThanOrEqual(CEILING_DBTP)
    expect(levelDb).toBeGreaterThan(CEILING_DBTP - 0.1)
  })

  test('the LFE too, by a gain of its own', () => {
    const tone = make(5, (t) => sine(25, t))
    const quiet = make(5, (t) => 0.01 * sine(440, t))
    const { gain, lfeGain } = limited(
      LAYOUTS['5.1'].map((role) => (role === 'LFE' ? tone : quiet)),
      '5.1',
      4,
    )
    const { thdDb } = distortion('lfe', settled(tone.map((x, n) => x * lfeGain![n]!)), 25)
    expect(thdDb).toBeLessThanOrEqual(-80)
    expect(swing(gain)).toBe(0)
  })
})

test('two bass notes, 41 and 55 Hz, 6 dB over: the gain wobbles by less than 0.5 dB peak to peak', () => {
  const dyad = make(6, (t) => 0.5 * (sine(41, t) + sine(55, t)))
  const { gain } = limited([dyad, dyad], '2.0', 4)
  expect(swing(settled(gain))).toBeLessThan(0.5)
})

test('a kick of 120 a minute, 6 dB over, under a held voice: sidebands of the voice at most -45 dBc', () => {
  const kick = make(24, (t) => {
    const since = t % 0.5
    return Math.exp(-since / 0.09) * Math.sin(2 * Math.PI * (55 * since + 2 * (1 - Math.exp(-since / 0.02))))
  })
  const voice = make(24, (t) => 0.1 * sine(221.7, t))
  const loud = 10 ** (4.5 / 20) / kick.reduce((most, x) => Math.max(most, Math.abs(x)), 0)
  const silence = new Float64Array(kick.length)
  const fronts = kick.map((x) => x * loud)
  const { gain } = limited([fronts, fronts, voice, silence, silence, silence], '5.1')
  const path = `${folder}/voice.f64`
  writeFileSync(path, settled(voice.map((x, n) => x * gain[n]!)))
  const { strongestDbc } = oracle('sidebands', path, 221.7) as { strongestDbc: number }
  expect(strongestDbc).toBeLessThanOrEqual(-45)
})

test('a single hit is left to the fast part: half a second beside it nothing is turned down', () => {
  const hit = make(4, (t) => (Math.abs(t - 2) < 0.005 ? 1.6 * sine(1000, t) : 0.2 * sine(300, t)))
  const { gain } = limited([hit, hit], '2.0')
  expect(dB(gain[2 * RATE]!)).toBeLessThan(-5)
  expect(gain[1.9 * RATE]).toBe(1)
  expect(gain[2.5 * RATE]).toBe(1)
})

test('an LFE 12 dB over its line moves no word of the other five channels', () => {
  const bed = make(5, (t) => 0.3 * sine(220, t) + 0.9 * sine(41, t) * Math.max(0, sine(1.9, t)))
  const render = (lfeGain: number) =>
    limited(
      LAYOUTS['5.1'].map((role) => (role === 'LFE' ? make(5, (t) => lfeGain * sine(33, t)) : bed)),
      '5.1',
      1,
    )
  const overLineDb = 12 + CEILING_DBTP - 1
  const [silent, loud] = [render(0), render(10 ** (overLineDb / 20))]
  const others = (words: Uint8Array) => words.filter((_, at) => Math.floor((at % 18) / 3) !== 3)
  expect(loud.alteration.lfe?.deepestDb).toBeLessThan(-11.9)
  expect(loud.alteration.deepestDb).toBeLessThan(-1)
  expect(Buffer.from(others(loud.multichannel)).equals(Buffer.from(others(silent.multichannel)))).toBe(true)
})

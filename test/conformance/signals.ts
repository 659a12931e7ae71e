// Test signals by formula, float64, full scale = 1. Levels are peak dBFS of a sine in each channel.
import { foldDownCoefficients, LAYOUTS, type LayoutName } from '../../src/domain/index.ts'
import { seededRandom } from '../testkit/programmes.ts'

export const RATE_HZ = 48000

export type Signal = { readonly layout: LayoutName; readonly planes: readonly Float64Array[] }

/** `[level in dBFS, seconds]`. */
export type Stretch = readonly [number, number]

export function amplitude(levelDbfs: number): number {
  return 10 ** (levelDbfs / 20)
}

/** One sine, phase 0 at the first sample, whose level is switched hard from stretch to stretch. */
export function sine(hz: number, stretches: readonly Stretch[]): Float64Array {
  const ends: number[] = []
  let seconds = 0
  for (const stretch of stretches) {
    seconds += stretch[1]
    ends.push(Math.round(seconds * RATE_HZ))
  }
  const plane = new Float64Array(ends.at(-1) ?? 0)
  let stretch = 0
  let gain = amplitude(stretches[0]?.[0] ?? 0)
  for (let n = 0; n < plane.length; n++) {
    while (n >= (ends[stretch] as number)) {
      stretch += 1
      gain = amplitude((stretches[stretch] as Stretch)[0])
    }
    plane[n] = gain * Math.sin((2 * Math.PI * hz * n) / RATE_HZ)
  }
  return plane
}

/** The same plane in both channels. */
export function inBoth(plane: Float64Array): Signal {
  return { layout: '2.0', planes: [plane, plane] }
}

/** A plane in some channels of a layout, silence in the others. */
export function inChannels(layout: LayoutName, roles: readonly string[], plane: Float64Array): Signal {
  const silence = new Float64Array(plane.length)
  return { layout, planes: LAYOUTS[layout].map((role) => (roles.includes(role) ? plane : silence)) }
}

/**
 * The true-peak signals 15 to 19: a sine at fs / `fraction` with a start phase, 3.2 s, 0.1 s linear fades.
 * @source EBU Tech 3341 v4, test signals 15 to 19
 */
export function fadedSine(fraction: number, phaseDegrees: number, peak: number): Signal {
  const plane = Float64Array.from({ length: 3.2 * RATE_HZ }, (_, n) => {
    return peak * Math.sin((2 * Math.PI * n) / fraction + (phaseDegrees * Math.PI) / 180)
  })
  return inBoth(faded(plane, RATE_HZ))
}

function faded(plane: Float64Array, rateHz: number): Float64Array {
  const length = 0.1 * rateHz
  return plane.map((sample, n) => sample * Math.min(1, n / length, (plane.length - 1 - n) / length))
}

/**
 * The true-peak signals 20 to 23: at 192 kHz one period of a full-scale 12 kHz sine inside a -6 dBFS 8 kHz sine, low-passed
 * at 23 kHz, of which every fourth sample is kept from `offset` on.
 * @source EBU Tech 3341 v4, test signals 20 to 23; the recipe was fitted to the published files (to 0.0011 of full scale)
 */
export function decimatedBurst(offset: number): Signal {
  return inBoth(Float64Array.from({ length: 153_604 }, (_, n) => burst()[4 * n + offset] as number))
}

let burstAt192kHz: Float64Array | null = null

function burst(): Float64Array {
  if (burstAt192kHz !== null) return burstAt192kHz
  const tone = (level: number, hz: number) => (k: number) => level * Math.sin((2 * Math.PI * hz * k) / 192_000)
  const steady = tone(amplitude(-6), 8000)
  const period = tone(1, 12_000)
  const [before, inside, after] = [289_920, 16, 324_480]
  const plane = Float64Array.from({ length: before + inside + after }, (_, n) => {
    if (n < before) return steady(n)
    return n < before + inside ? period(n - before) : steady(n - before - inside)
  })
  burstAt192kHz = lowPassed(faded(plane, 192_000), 23_000 / 192_000)
  return burstAt192kHz
}

/** Windowed sinc, 1023 taps, Kaiser window with beta 10, its delay taken off. */
function lowPassed(plane: Float64Array, cutoff: number): Float64Array {
  const reach = 511
  const taps = Float64Array.from({ length: 2 * reach + 1 }, (_, k) => {
    const t = k - reach
    const sinc = t === 0 ? 2 * cutoff : Math.sin(2 * Math.PI * cutoff * t) / (Math.PI * t)
    return (sinc * besselI0(10 * Math.sqrt(1 - (t / reach) ** 2))) / besselI0(10)
  })
  return plane.map((_, n) => {
    let sum = 0
    const first = Math.max(-reach, n - plane.length + 1)
    const last = Math.min(reach, n)
    for (let k = first; k <= last; k++) sum += (taps[k + reach] as number) * (plane[n - k] as number)
    return sum
  })
}

/** Modified Bessel function of the first kind, order 0, by its series. */
function besselI0(x: number): number {
  let sum = 1
  let term = 1
  for (let k = 1; k < 40; k++) {
    term *= (x / (2 * k)) ** 2
    sum += term
  }
  return sum
}

/**
 * Programme-like noise: mulberry32, seed = channel + 1, in 3 s blocks of the levels below, 120 s.
 * @source our own definition; reference values taken with libebur128 1.2.6, FFmpeg 5.1.9 and SciPy
 */
export function steppedNoise(layout: LayoutName, extraGainsDb: readonly number[]): Signal {
  const blockGainsDb = [-30, -24, -18, -40, -60, -12, -26, -22]
  const planes = extraGainsDb.map((extraDb, channel) => {
    const random = seededRandom(channel + 1)
    const gains = blockGainsDb.map((gainDb) => amplitude(gainDb + extraDb))
    const plane = new Float64Array(120 * RATE_HZ)
    for (let n = 0; n < plane.length; n++) {
      plane[n] = (2 * random() - 1) * (gains[Math.floor(n / (3 * RATE_HZ)) % gains.length] as number)
    }
    return plane
  })
  return { layout, planes }
}

/** Folded outside the meter. @source ITU-R BS.775-4 Table 2 */
export function foldedLoRo({ layout, planes }: Signal): Signal {
  const shares = foldDownCoefficients(layout)
  return {
    layout: '2.0',
    planes: [0, 1].map((side) =>
      weightedSum(
        planes,
        shares.map((share) => share[side] as number),
      ),
    ),
  }
}

/** @source ITU-R BS.775-4 Table 2, row 1/0 */
export function foldedMono({ planes }: Signal): Signal {
  return { layout: 'mono', planes: [weightedSum(planes, [Math.SQRT1_2, Math.SQRT1_2, 1, 0, 0.5, 0.5])] }
}

function weightedSum(planes: readonly Float64Array[], weights: readonly number[]): Float64Array {
  const sum = new Float64Array(planes[0]?.length ?? 0)
  for (const [channel, plane] of planes.entries()) {
    const weight = weights[channel] as number
    for (let n = 0; n < sum.length; n++) sum[n] = (sum[n] as number) + weight * (plane[n] as number)
  }
  return sum
}

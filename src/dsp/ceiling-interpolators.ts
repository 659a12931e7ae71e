import { TRUE_PEAK_PHASES } from './true-peak.ts'

/**
 * Interpolators of the true-peak ceiling. Each lists, for the fractions 1/ratio .. 1/2 between two frames, a pair of
 * mirrored phases (see `interpolateBlock` of the kernel), and three bounds that say when no phase can exceed a level.
 */
export type Interpolator = {
  /** For each couple of pairs, for each tap: even and odd half of the first pair, then of the second. */
  readonly table: Float32Array
  readonly couples: number
  readonly tapsPerSide: number
  /** Highest sum of magnitudes of a phase: |y| <= absoluteSum x highest |sample| within reach. */
  readonly absoluteSum: number
  /** |y| <= straight x higher |sample| of the two neighbours + bent x highest second difference within reach. */
  readonly straight: number
  readonly bent: number
}

/** Sine of pi x, 0 <= x <= 1/2, by its series, to the last bit or two. */
function sineOfPi(x: number): number {
  const y = Math.PI * x
  let sum = 0
  for (let n = 24; n >= 2; n -= 2) sum = 1 - (sum * y * y) / (n * (n + 1))
  return y * sum
}

/** Modified Bessel function of the first kind, order 0, by its series. */
function bessel(x: number): number {
  let term = 1
  let sum = 1
  for (let n = 1; term > sum * 1e-17; n++) {
    term *= (x * x) / (4 * n * n)
    sum += term
  }
  return sum
}

/**
 * Windowed sinc with a Kaiser window over `tapsPerSide` samples each way, `ratio` phases.
 * @source J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window function", 1974 (from memory)
 */
export function sincInterpolator(ratio: number, tapsPerSide: number, kaiserBeta: number): Interpolator {
  const phases: Float64Array[] = []
  for (let p = 1; p <= ratio / 2; p++) {
    const fraction = p / ratio
    const taps = new Float64Array(2 * tapsPerSide)
    for (let i = 0; i < taps.length; i++) {
      const distance = i - (tapsPerSide - 1) - fraction
      const inside = distance / tapsPerSide
      const window = bessel(kaiserBeta * Math.sqrt(1 - inside * inside)) / bessel(kaiserBeta)
      const sign = (i - (tapsPerSide - 1)) % 2 === 0 ? -1 : 1
      taps[i] = (window * sign * sineOfPi(fraction)) / (Math.PI * distance)
    }
    const sum = taps.reduce((total, tap) => total + tap, 0)
    phases.push(taps.map((tap) => tap / sum))
  }
  return interpolatorOf(phases, tapsPerSide)
}

/**
 * Windowed sinc with a Hann window over six samples each way, four phases, not normalised: a common short true-peak
 * filter, which reads more than the others near half the sample rate.
 * @source common practice of free loudness meters
 */
export function hannInterpolator(): Interpolator {
  const tapsPerSide = 6
  const phases = [1 / 4, 1 / 2].map((fraction) =>
    Float64Array.from({ length: 2 * tapsPerSide }, (_, i) => {
      const distance = i - (tapsPerSide - 1) - fraction
      const rootOfWindow = sineOfPi(1 / 2 - Math.abs(distance) / (2 * tapsPerSide))
      const sign = (i - (tapsPerSide - 1)) % 2 === 0 ? -1 : 1
      return (rootOfWindow * rootOfWindow * sign * sineOfPi(fraction)) / (Math.PI * distance)
    }),
  )
  return interpolatorOf(phases, tapsPerSide)
}

/** The interpolator that the standard prints: what most meters read. @source ITU-R BS.1770-5 Annex 2 */
export function annex2Interpolator(): Interpolator {
  return interpolatorOf(
    TRUE_PEAK_PHASES.map((printed) => Float64Array.from(printed).reverse()),
    6,
  )
}

/** Each phase holds its taps at the frames k - T + 1 .. k + T, T a side, for a value between k and k + 1. */
function interpolatorOf(phases: readonly Float64Array[], tapsPerSide: number): Interpolator {
  const couples = Math.ceil(phases.length / 2)
  const table = new Float32Array(couples * tapsPerSide * 4)
  phases.forEach((taps, index) => {
    for (let t = 0; t < tapsPerSide; t++) {
      const left = taps[tapsPerSide - 1 - t] as number
      const right = taps[tapsPerSide + t] as number
      const at = (Math.floor(index / 2) * tapsPerSide + t) * 4 + (index % 2) * 2
      table[at] = (left + right) / 2
      table[at + 1] = (left - right) / 2
    }
  })
  const bounds = phases.map((taps) => boundsOf(taps, tapsPerSide))
  return {
    table,
    couples,
    tapsPerSide,
    absoluteSum: Math.max(...bounds.map((bound) => bound.absoluteSum)),
    straight: Math.max(...bounds.map((bound) => bound.straight)),
    bent: Math.max(...bounds.map((bound) => bound.bent)),
  }
}

/**
 * A phase is a straight line between its two neighbours, which holds its sum and its first moment, plus a rest.
 * Summed by parts twice, the rest is a weighted sum of second differences.
 */
function boundsOf(taps: Float64Array, tapsPerSide: number): Pick<Interpolator, 'absoluteSum' | 'straight' | 'bent'> {
  const here = tapsPerSide - 1
  const sum = taps.reduce((total, tap) => total + tap, 0)
  const moment = taps.reduce((total, tap, i) => total + tap * (i - here), 0)
  const rest = Float64Array.from(taps)
  rest[here] = (rest[here] as number) - (sum - moment)
  rest[here + 1] = (rest[here + 1] as number) - moment
  let once = 0
  let twice = 0
  let bent = 0
  for (const tap of rest) {
    once += tap
    twice += once
    bent += Math.abs(twice)
  }
  return { absoluteSum: taps.reduce((total, tap) => total + Math.abs(tap), 0), straight: sum, bent }
}

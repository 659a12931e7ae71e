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

/** @source ITU-R BS.1770-5 Annex 2: order 48, four phases; phases 2 and 3 are phases 1 and 0 reversed. */
const ANNEX_2_PHASES = [
  [
    0.001708984375, 0.010986328125, -0.0196533203125, 0.033203125, -0.0594482421875, 0.1373291015625, 0.97216796875,
    -0.102294921875, 0.047607421875, -0.026611328125, 0.014892578125, -0.00830078125,
  ],
  [
    -0.0291748046875, 0.029296875, -0.0517578125, 0.089111328125, -0.16650390625, 0.465087890625, 0.77978515625,
    -0.2003173828125, 0.1015625, -0.0582275390625, 0.0330810546875, -0.0189208984375,
  ],
] as const

/** The interpolator that the standard prints: what most meters read. */
export function annex2Interpolator(): Interpolator {
  return interpolatorOf(
    ANNEX_2_PHASES.map((printed) => Float64Array.from(printed).reverse()),
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

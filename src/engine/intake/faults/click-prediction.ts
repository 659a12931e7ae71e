import { assert } from '../../../domain/index.ts'
import { predictionErrorFilter } from '../prediction.ts'

const ORDER = 32
/** Frames at each side of the place that the prediction is made from, at 48 kHz. */
const HALF_WINDOW_SECONDS = 0.021
/** Widths, in samples, that a click may have. */
const WIDTHS = [1, 2, 3, 4]
const WIDEST = 4
/** What remains may also be this share of the click's height: the sound's own little edges beside it. */
const MOST_REMAINING_SHARE = 0.1
/** Left out around the place where the usual error is measured: it is what the click itself disturbs. */
const DISTURBED_FRAMES = ORDER + 16
const MEDIAN_OVER_DEVIATION = 0.6745

/** The sound around a place, and what a linear prediction of it misses. */
export type Residual = {
  readonly plane: Float32Array
  readonly centre: number
  /** Prediction-error filter, `filter[0]` = 1. */
  readonly filter: Float64Array
  /** Robust standard deviation of the prediction error around the place; before it and after it alone. */
  readonly usualError: number
  readonly errorBefore: number
  readonly errorAfter: number
}

export type Prediction = { around(plane: Float32Array, centre: number): Residual | null }

export function predict(sampleRateHz: number): Prediction {
  const half = Math.round(HALF_WINDOW_SECONDS * sampleRateHz)
  const weighted = new Float64Array(2 * half)
  const errors = new Float64Array(2 * half)
  const window = raisedWindow(2 * half)
  return {
    around(plane, centre) {
      const first = centre - half
      if (first < ORDER || centre + half > plane.length) return null
      for (let n = 0; n < weighted.length; n++) {
        weighted[n] = (plane[first + n] as number) * (window[n] as number)
      }
      bridge(weighted, half)
      const filter = predictionErrorFilter(weighted, ORDER)
      if (filter === null) return null
      for (let n = 0; n < errors.length; n++) errors[n] = Math.abs(errorAt(plane, filter, first + n))
      const before = median(errors.subarray(0, half - DISTURBED_FRAMES)) / MEDIAN_OVER_DEVIATION
      const after = median(errors.subarray(half + DISTURBED_FRAMES)) / MEDIAN_OVER_DEVIATION
      const usualError = Math.sqrt((before * before + after * after) / 2)
      return { plane, centre, filter, usualError, errorBefore: before, errorAfter: after }
    },
  }
}

/** A parabola, zero at both ends: tapers like a raised cosine, from arithmetic alone. */
function raisedWindow(length: number): Float64Array {
  return Float64Array.from({ length }, (_, n) => {
    const x = (2 * (n + 0.5)) / length - 1
    return (1 - x * x) * (1 - x * x)
  })
}

/** Draws a straight line over the place, so that the click does not enter its own prediction. */
function bridge(samples: Float64Array, centre: number): void {
  const [from, to] = [centre - 4, centre + 9]
  const start = samples[from] as number
  const end = samples[to] as number
  for (let n = from + 1; n < to; n++) samples[n] = start + ((end - start) * (n - from)) / (to - from)
}

function errorAt(samples: Float32Array, filter: Float64Array, at: number): number {
  let sum = 0
  for (let k = 0; k <= ORDER; k++) sum += (filter[k] as number) * (samples[at - k] as number)
  return sum
}

function median(values: Float64Array): number {
  const sorted = values.toSorted()
  return sorted[sorted.length >> 1] as number
}

/**
 * The narrowest stretch around the place that, drawn anew from its neighbours, leaves no prediction error above
 * `mostRemaining` (or a small share of its height); `height` is how far the samples stood off. Null where no narrow
 * stretch does.
 * @source least-squares autoregressive interpolation, Janssen, Veldhuis and Vries, IEEE Trans. ASSP 34 (1986)
 */
export function interpolationError(
  residual: Residual,
  mostRemaining: number,
): { startFrame: number; endFrame: number; height: number } | null {
  const { plane, filter, centre } = residual
  const before = centre - 2 * ORDER
  const errors = new Float64Array(5 * ORDER)
  for (let n = 0; n < errors.length; n++) errors[n] = errorAt(plane, filter, before + n)
  const first = centre - before - WIDEST
  const start = errors.findIndex((error, n) => n >= first && Math.abs(error) > mostRemaining)
  if (start < 0 || start > first + 2 * WIDEST) return null
  for (const width of WIDTHS) {
    const change = solveChange(filter, errors, start, width)
    if (change === null) return null
    const height = change.reduce((most, value) => Math.max(most, Math.abs(value)), 0)
    if (highestAfter(filter, errors, start, change) > Math.max(mostRemaining, MOST_REMAINING_SHARE * height)) continue
    return { startFrame: before + start, endFrame: before + start + width, height }
  }
  return null
}

/** The change of `width` samples from `start` on that leaves the least squared prediction error. */
function solveChange(filter: Float64Array, errors: Float64Array, start: number, width: number): Float64Array | null {
  const rows = Array.from({ length: width }, () => new Float64Array(width + 1))
  for (let i = 0; i < width; i++) {
    for (let j = 0; j < width; j++) {
      let sum = 0
      for (let k = 0; k + Math.abs(i - j) <= ORDER; k++) {
        sum += (filter[k] as number) * (filter[k + Math.abs(i - j)] as number)
      }
      ;(rows[i] as Float64Array)[j] = sum
    }
    let across = 0
    for (let k = 0; k <= ORDER; k++) across -= (filter[k] as number) * (errors[start + i + k] ?? 0)
    ;(rows[i] as Float64Array)[width] = across
  }
  return solve(rows)
}

/** Gauss elimination; the matrix is symmetric and positive definite, so no pivot is looked for. */
function solve(rows: Float64Array[]): Float64Array | null {
  const n = rows.length
  for (let i = 0; i < n; i++) {
    const row = rows[i] as Float64Array
    const pivot = row[i] as number
    if (!(pivot > 0)) return null
    for (let below = i + 1; below < n; below++) {
      const other = rows[below] as Float64Array
      const factor = (other[i] as number) / pivot
      for (let j = i; j <= n; j++) other[j] = (other[j] as number) - factor * (row[j] as number)
    }
  }
  const x = new Float64Array(n)
  for (let i = n - 1; i >= 0; i--) {
    const row = rows[i] as Float64Array
    let sum = row[n] as number
    for (let j = i + 1; j < n; j++) sum -= (row[j] as number) * (x[j] as number)
    x[i] = sum / (row[i] as number)
  }
  return x
}

function highestAfter(filter: Float64Array, errors: Float64Array, start: number, change: Float64Array): number {
  assert(start + change.length + ORDER < errors.length, 'the place is looked at with its aftermath')
  let highest = 0
  for (let n = 0; n < errors.length; n++) {
    let error = errors[n] as number
    for (let i = 0; i < change.length; i++) {
      const k = n - start - i
      if (k >= 0 && k <= ORDER) error += (filter[k] as number) * (change[i] as number)
    }
    highest = Math.max(highest, Math.abs(error))
  }
  return highest
}

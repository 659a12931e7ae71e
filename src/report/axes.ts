import { printTime } from '../domain/index.ts'

/** The rectangle of a drawing in which curves stand, in its own units. */
export type Plot = { readonly left: number; readonly right: number; readonly top: number; readonly bottom: number }

/** A linear scale from values to coordinates; values outside are held at its ends. */
export function scale(low: number, high: number, atLow: number, atHigh: number): (value: number) => number {
  return (value) => {
    const share = (Math.min(high, Math.max(low, value)) - low) / (high - low)
    return atLow + share * (atHigh - atLow)
  }
}

const TIME_STEPS_SECONDS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400]
const MOST_TIME_TICKS = 9

export type TimeTick = { readonly seconds: number; readonly label: string }

/**
 * Round times of a ruler over a programme that starts at `startSeconds` (time of day, or 0): ticks fall on round
 * times of day, `seconds` counts from the programme's first frame.
 */
export function timeTicks(durationSeconds: number, startSeconds: number): readonly TimeTick[] {
  const fits = (step: number) => durationSeconds / step <= MOST_TIME_TICKS
  const step = TIME_STEPS_SECONDS.find(fits) ?? Math.ceil(durationSeconds / MOST_TIME_TICKS / 14400) * 14400
  const ticks: TimeTick[] = []
  for (let n = Math.ceil(startSeconds / step); n * step <= startSeconds + durationSeconds; n++) {
    ticks.push({ seconds: n * step - startSeconds, label: printTime(n * step, step < 1 ? 1 : 0) })
  }
  return ticks
}

/** Whole multiples of `step` from `low` to `high`. */
export function levelTicks(low: number, high: number, step: number): readonly number[] {
  const ticks: number[] = []
  for (let n = Math.ceil(low / step); n * step <= high; n++) ticks.push(n * step)
  return ticks
}

/**
 * The grid of the two-track evidence, in whole frames at every working rate; a segment holds a whole number of each.
 * A *glance* is one transform, a *look* is what levels and shares are told for, a *cell* is what delays are told for.
 */
export const GLANCES_PER_SECOND = 25
export const GLANCES_PER_LOOK = 5
export const LOOKS_PER_SECOND = GLANCES_PER_SECOND / GLANCES_PER_LOOK
/** Two looks: the fine delay of that time. */
export const LOOKS_PER_FINE_CELL = 2
/** Four looks: the coarse lag of that time and its neighbours. */
export const LOOKS_PER_LAG_CELL = 4

/** Length of the transforms at 48 kHz; other rates take the power of two nearest to the same time. */
const GLANCE_LENGTH = 4096
const LAG_LENGTH = 16384

function lengthAt(length: number, sampleRateHz: number): number {
  let scaled = length
  let rate = 48000
  for (; sampleRateHz > rate * Math.SQRT2; rate *= 2) scaled *= 2
  for (; sampleRateHz < rate / Math.SQRT2; rate /= 2) scaled /= 2
  return scaled
}

/** Frames of the transform that shares and delays below 0.1 ms are read from: 85 ms. */
export function glanceLength(sampleRateHz: number): number {
  return lengthAt(GLANCE_LENGTH, sampleRateHz)
}

/** Frames of the transform that whole-frame lags are read from: 0.34 s. */
export function lagLength(sampleRateHz: number): number {
  return lengthAt(LAG_LENGTH, sampleRateHz)
}

export function framesPerGlance(sampleRateHz: number): number {
  return sampleRateHz / GLANCES_PER_SECOND
}

export function framesPerLook(sampleRateHz: number): number {
  return framesPerGlance(sampleRateHz) * GLANCES_PER_LOOK
}

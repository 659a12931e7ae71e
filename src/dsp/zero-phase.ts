import type { Kernels } from './kernels.ts'

export interface ZeroPhaseExports {
  readonly zeroPhasePair: (
    first: number,
    second: number,
    frameCount: number,
    isHighPass: number,
    cornerHz: number,
    sampleRateHz: number,
  ) => void
}

/** A filter cannot turn above this part of the sample rate: it is left out there. */
const HIGHEST_CORNER = 0.49

/**
 * Filters two float32 planes in kernel memory in place, forwards and then backwards: the magnitude of a fourth-order
 * Linkwitz-Riley filter (-6 dB at the corner), no phase shift, no latency. Starts and ends at rest.
 * A low-pass whose corner lies above 0.49 of the sample rate does nothing. One plane: hand it in twice.
 * @source Linkwitz and Riley, J. Audio Eng. Soc. 24 (1976): the square of a second-order Butterworth filter
 */
export function filterZeroPhase(
  kernels: Kernels,
  planes: { readonly first: number; readonly second: number; readonly frameCount: number },
  filter: { readonly kind: 'low-pass' | 'high-pass'; readonly cornerHz: number; readonly sampleRateHz: number },
): void {
  if (filter.cornerHz > HIGHEST_CORNER * filter.sampleRateHz) return
  kernels.exports.zeroPhasePair(
    planes.first,
    planes.second,
    planes.frameCount,
    filter.kind === 'high-pass' ? 1 : 0,
    filter.cornerHz,
    filter.sampleRateHz,
  )
}

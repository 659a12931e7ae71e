/** Nominal mid-band frequencies of the octaves in which energy is told. @source IEC 61260-1, base-ten octaves (from memory) */
export const OCTAVES_HZ: readonly number[] = [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000]

export const OCTAVE_COUNT = OCTAVES_HZ.length

/** Their edges: 1000 Hz x 10^(3 (n - 1/2) / 10); one more than there are octaves. */
export const OCTAVE_EDGES_HZ: readonly number[] = [
  22.387, 44.668, 89.125, 177.83, 354.81, 707.95, 1412.5, 2818.4, 5623.4, 11220, 22387,
]

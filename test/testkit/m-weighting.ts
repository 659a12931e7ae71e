// What ISO 21727 asks of the M-weighting.

/** Hz, gain in dB, allowed deviation in dB. @source ISO 21727:2016 Table 1 */
export const M_WEIGHTING_TABLE = [
  [31, -35.5, 2],
  [63, -29.5, 1.4],
  [100, -25.4, 1],
  [200, -19.4, 0.85],
  [400, -13.4, 0.7],
  [800, -7.5, 0.55],
  [1000, -5.6, 0.5],
  [2000, 0, 0.5],
  [3150, 3.4, 0.5],
  [4000, 4.9, 0.5],
  [5000, 6.1, 0.5],
  [6300, 6.6, 0],
  [7100, 6.4, 0.2],
  [8000, 5.8, 0.4],
  [9000, 4.5, 0.6],
  [10000, 2.5, 0.8],
  [12500, -5.6, 1.2],
  [14000, -10.9, 1.4],
  [16000, -17.3, 1.65],
  [20000, -27.8, 2],
  [31500, -48.3, 2.8],
] as const

/** The zero tolerance at 6.3 kHz is that of a figure with one decimal; we hold it to a hundredth. */
export const LEAST_TOLERANCE_DB = 0.01

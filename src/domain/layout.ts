/** Loudspeaker roles, in the trade's names. `M` is the only channel of a mono programme. */
export type Role = 'M' | 'L' | 'R' | 'C' | 'LFE' | 'Ls' | 'Rs' | 'Lrs' | 'Rrs'

export type LayoutName = 'mono' | '2.0' | '5.0' | '5.1' | '7.1'

/**
 * The channels of each layout in the order in which Plimsoll works and writes.
 * @source ITU-R BS.775-4 and the ascending mask bits of WAVE_FORMAT_EXTENSIBLE (7.1: side pair as Ls Rs, rear pair as Lrs Rrs)
 */
export const LAYOUTS: Readonly<Record<LayoutName, readonly Role[]>> = {
  mono: ['M'],
  '2.0': ['L', 'R'],
  '5.0': ['L', 'R', 'C', 'Ls', 'Rs'],
  '5.1': ['L', 'R', 'C', 'LFE', 'Ls', 'Rs'],
  '7.1': ['L', 'R', 'C', 'LFE', 'Ls', 'Rs', 'Lrs', 'Rrs'],
}

/**
 * Loudness weight G of a channel. The side or surround pair counts 1.41, the rear pair of 7.1 counts 1, the LFE 0.
 * @source ITU-R BS.1770-5 Annex 1 Table 3, Annex 3 Tables 4 and 5
 */
export function loudnessWeight(role: Role): number {
  if (role === 'LFE') return 0
  return role === 'Ls' || role === 'Rs' ? SURROUND_WEIGHT : 1
}

/** @source ITU-R BS.1770-5 Annex 1 Table 3: 1.41, not the square root of two. */
export const SURROUND_WEIGHT = 1.41

/**
 * The fold-down coefficient k: centre and surrounds go to each side at 3 dB less.
 * @source ITU-R BS.775-4 Table 2
 */
export const FOLD_DOWN_K = Math.SQRT1_2

/** A layout whose Lo/Ro fold-down is measured and guarded beside it: everything with a centre and surrounds. */
export function hasFoldDown(layout: LayoutName): boolean {
  return layout === '5.0' || layout === '5.1' || layout === '7.1'
}

/**
 * How each channel of a decoded 5.1 enters Lt and Rt again: `[toLt, toRt]`, in channel order. The surrounds were left in
 * the phase that they have in the Lt/Rt, so no quarter turn is needed. The LFE is left out.
 * @source ATSC A/52 7.8.2 (from memory); docs/decisions/0020
 */
export function encodeCoefficients(): readonly (readonly [number, number])[] {
  return LAYOUTS['5.1'].map((role) => {
    switch (role) {
      case 'L':
        return [1, 0]
      case 'R':
        return [0, 1]
      case 'C':
        return [FOLD_DOWN_K, FOLD_DOWN_K]
      case 'Ls':
      case 'Rs':
        return [-FOLD_DOWN_K, FOLD_DOWN_K]
      default:
        return [0, 0]
    }
  })
}

/**
 * How each channel of a layout enters Lo and Ro: `[toLo, toRo]`, in channel order. The LFE is left out.
 * The rear pair of 7.1 folds like the side pair.
 * @source ITU-R BS.775-4 Table 2; rear pair: common practice
 */
export function foldDownCoefficients(layout: LayoutName): readonly (readonly [number, number])[] {
  return LAYOUTS[layout].map((role) => {
    switch (role) {
      case 'L':
        return [1, 0]
      case 'R':
        return [0, 1]
      case 'M':
      case 'C':
        return [FOLD_DOWN_K, FOLD_DOWN_K]
      case 'Ls':
      case 'Lrs':
        return [FOLD_DOWN_K, 0]
      case 'Rs':
      case 'Rrs':
        return [0, FOLD_DOWN_K]
      case 'LFE':
        return [0, 0]
    }
  })
}

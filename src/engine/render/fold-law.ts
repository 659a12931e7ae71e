import {
  assert,
  FOLD_DOWN_K,
  foldDownCoefficients,
  hasFoldDown,
  LAYOUTS,
  type LayoutName,
  type Role,
} from '../../domain/index.ts'

export type FoldTarget = 'lo-ro' | 'lt-rt' | 'mono'

/** What a fold-down is made of: channels, and `S`, the sum of the surrounds turned by 90 degrees. */
export type FoldSignal = Role | 'S'

/** One channel of a fold-down: its weighted sum, in channel order. */
export type FoldSide = {
  readonly role: 'L' | 'R' | 'M'
  readonly terms: readonly { readonly signal: FoldSignal; readonly weight: number }[]
}

export type FoldLaw = {
  readonly sides: readonly FoldSide[]
  /** The channels that `S` is the sum of; none where no side asks for it. */
  readonly turned: readonly Role[]
}

/** How a surround enters mono, the rear pair like the side pair. @source ITU-R BS.775-4 Table 2, row 1/0 */
const SURROUND_TO_MONO = 0.5

const SURROUNDS: readonly Role[] = ['Ls', 'Rs', 'Lrs', 'Rrs']

/** The equations of a fold-down. The layout has a centre and surrounds, or it is 2.0 and the target mono. */
export function foldLaw(layout: LayoutName, to: FoldTarget): FoldLaw {
  assert(hasFoldDown(layout) || (layout === '2.0' && to === 'mono'), `no fold-down of ${layout} to ${to}`)
  switch (to) {
    case 'lo-ro':
      return { sides: [loRoSide(layout, 0), loRoSide(layout, 1)], turned: [] }
    case 'lt-rt':
      return {
        sides: [ltRtSide('L', -FOLD_DOWN_K), ltRtSide('R', FOLD_DOWN_K)],
        turned: LAYOUTS[layout].filter((role) => SURROUNDS.includes(role)),
      }
    case 'mono':
      return { sides: [monoSide(layout)], turned: [] }
  }
}

function loRoSide(layout: LayoutName, side: 0 | 1): FoldSide {
  const coefficients = foldDownCoefficients(layout)
  const terms = LAYOUTS[layout]
    .map((signal, channel) => ({ signal, weight: (coefficients[channel] as readonly [number, number])[side] }))
    .filter(({ weight }) => weight !== 0)
  return { role: side === 0 ? 'L' : 'R', terms }
}

/**
 * The surrounds, turned so that they lead by 90 degrees, enter Lt with opposite polarity: 270 degrees there, 90 in Rt.
 * @source ATSC A/52 7.8.2 (from memory); the sense of the turn: trade press on Lt/Rt fold-downs
 */
function ltRtSide(role: 'L' | 'R', surroundWeight: number): FoldSide {
  return {
    role,
    terms: [
      { signal: role, weight: 1 },
      { signal: 'C', weight: FOLD_DOWN_K },
      { signal: 'S', weight: surroundWeight },
    ],
  }
}

/** @source ITU-R BS.775-4 Table 2, row 1/0 */
function monoSide(layout: LayoutName): FoldSide {
  const terms = LAYOUTS[layout]
    .filter((role) => role !== 'LFE')
    .map((signal) => ({ signal, weight: monoWeight(signal) }))
  return { role: 'M', terms }
}

function monoWeight(role: Role): number {
  if (role === 'C') return 1
  return SURROUNDS.includes(role) ? SURROUND_TO_MONO : FOLD_DOWN_K
}

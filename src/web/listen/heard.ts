import {
  FOLD_DOWN_K,
  foldDownCoefficients,
  LAYOUTS,
  type LayoutName,
  loudnessWeight,
  type Role,
} from '../../domain/index.ts'
import type { SignalLayouts } from './chunk.ts'

/** What is listened to: the programme as it is, with the trims alone, as 5.1, as it will be delivered, or what is taken away. */
export type Listening = 'source' | 'trimmed' | 'upmix' | 'fitted' | 'difference'

/** Through which loudspeakers: each channel to its own, folded down, or folded down to small ones. */
export type Speakers = 'own' | 'lo-ro' | 'lt-rt' | 'mono' | 'small'

/** What is mixed into what is heard: the signals, and the source under the trims. */
export type RouteName = 'source' | 'trimmed' | 'upmix' | 'fitted'

export type Shares = Readonly<Record<RouteName, number>>

/** Planes of the bus: the channels of the largest layout, and the turned sum of the surrounds. */
export type BusPlane = Role | 'S'

/** Gain of each plane of the bus at each output: `[output][plane]`. */
export type Matrix = readonly (readonly number[])[]

/** The layout of the bus on which all signals meet. */
export function busLayout({ source, upmix }: SignalLayouts): LayoutName {
  return upmix ?? source ?? '2.0'
}

export function busPlanes(layout: LayoutName): readonly BusPlane[] {
  const roles = LAYOUTS[layout]
  return roles.some(isSurround) ? [...roles, 'S'] : roles
}

/**
 * The share of each route in what is heard. What is taken away is what goes into the fit less what comes out of it;
 * without a fit, what the trims take.
 */
export function sharesOf(listening: Listening, { upmix, fitted }: SignalLayouts): Shares {
  const none = { source: 0, trimmed: 0, upmix: 0, fitted: 0 }
  if (listening !== 'difference') return { ...none, [listening]: 1 }
  if (fitted === undefined) return { ...none, source: 1, trimmed: -1 }
  return { ...none, [upmix === undefined ? 'source' : 'upmix']: 1, fitted: -1 }
}

/**
 * How the bus reaches the outputs. Where the device has fewer outputs than the programme has channels, `own` is the
 * fold-down too. Of surrounds of which one is muted, Lt/Rt has neither: they are turned together.
 * @source ITU-R BS.775-4 Table 2; Lt/Rt: ATSC A/52 7.8.2; mono: half the sum of Lo and Ro, common practice
 */
export function matrixOf(
  layout: LayoutName,
  speakers: Speakers,
  outputs: number,
  isHeard: (role: Role) => boolean,
): Matrix {
  const roles = LAYOUTS[layout]
  const planes = busPlanes(layout)
  const gate = (plane: BusPlane, gain: number) => {
    if (gain === 0) return 0
    return (plane === 'S' ? roles.filter(isSurround).every(isHeard) : isHeard(plane)) ? gain : 0
  }
  if (speakers === 'own' && outputs >= roles.length && roles.length > 1) {
    return roles.map((_, output) => planes.map((plane, index) => gate(plane, index === output ? 1 : 0)))
  }
  const law = speakers === 'lt-rt' && planes.includes('S') ? ltRt : loRo(layout)
  const [left, right] = ([0, 1] as const).map((side) => planes.map((plane) => gate(plane, law(plane)[side]))) as [
    number[],
    number[],
  ]
  const both = left.map((gain, plane) => (gain + right[plane]!) / 2)
  const rows = speakers === 'mono' ? [both, [...both]] : [left, right]
  return [...rows, ...Array.from({ length: outputs - 2 }, () => planes.map(() => 0))]
}

/** The muted channels once one was pressed: muted or not, or heard alone, and then all again. */
export function mutedAfter(
  muted: ReadonlySet<Role>,
  roles: readonly Role[],
  pressed: Role,
  isAlone: boolean,
): ReadonlySet<Role> {
  const others = roles.filter((role) => role !== pressed)
  const isAloneAlready = !muted.has(pressed) && others.every((role) => muted.has(role))
  if (isAlone) return new Set(isAloneAlready ? [] : others)
  return new Set(muted.has(pressed) ? [...muted].filter((role) => role !== pressed) : [...muted, pressed])
}

/** What each output counts in the loudness of what is heard: two count alike, more are the loudspeakers of the layout. */
export function outputWeights(layout: LayoutName, outputs: number): readonly number[] {
  const roles = LAYOUTS[layout]
  return Array.from({ length: outputs }, (_, output) => (outputs === 2 ? 1 : loudnessWeight(roles[output]!)))
}

type Law = (plane: BusPlane) => readonly [toLeft: number, toRight: number]

function loRo(layout: LayoutName): Law {
  const roles = LAYOUTS[layout]
  const coefficients =
    layout === '2.0'
      ? ([
          [1, 0],
          [0, 1],
        ] as const)
      : // A mono programme comes from both loudspeakers at 3 dB less, as a centre does.
        layout === 'mono'
        ? ([[FOLD_DOWN_K, FOLD_DOWN_K]] as const)
        : foldDownCoefficients(layout)
  return (plane) => (plane === 'S' ? [0, 0] : coefficients[roles.indexOf(plane)]!)
}

/** The plane of the turned surrounds carries the share of its law already. */
const ltRt: Law = (plane) => {
  if (plane === 'L') return [1, 0]
  if (plane === 'R') return [0, 1]
  if (plane === 'C') return [FOLD_DOWN_K, FOLD_DOWN_K]
  return plane === 'S' ? [-1, 1] : [0, 0]
}

function isSurround(role: Role): boolean {
  return role === 'Ls' || role === 'Rs' || role === 'Lrs' || role === 'Rrs'
}

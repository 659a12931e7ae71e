// Errors that are made with the channels of a 5.1, and what must be said of each.
import type { RoleFault, Roles } from '../../src/domain/index.ts'
import { gained, type Planes } from '../../test/testkit/surround-mixes.ts'

const [L, R, C, LFE, LS, RS] = [0, 1, 2, 3, 4, 5] as const

/** What a mix may lack. */
export type Part = 'C' | 'LFE' | 'voice'

export type Planted = {
  readonly name: string
  readonly plant: (planes: Planes) => Planes
  /** What it moves or takes away: where that is missing, there is no error. */
  readonly moves: readonly Part[]
  readonly isFound: (roles: Roles) => boolean
}

/** What lies where L R C LFE Ls Rs are looked for. */
const lying = (order: readonly number[]) => (planes: Planes) => order.map((channel) => planes[channel]!)
const replaced = (channel: number, by: (planes: Planes) => Float32Array) => (planes: Planes) =>
  planes.map((plane, index) => (index === channel ? by(planes) : plane))
const turned = (channel: number) => replaced(channel, (planes) => gained(planes[channel]!, -1))
const lost = (channel: number) => replaced(channel, (planes) => new Float32Array(planes[channel]!.length))

const isOrder = (order: Roles['order']) => (roles: Roles) => roles.order === order
const names =
  (kind: RoleFault['kind'], ...channels: RoleFault['channels']) =>
  ({ faults }: Roles) =>
    faults.some((fault) => fault.kind === kind && channels.every((role) => fault.channels.includes(role)))

export const PLANTED: readonly Planted[] = [
  {
    name: 'film order read as ITU',
    moves: ['C', 'LFE'],
    plant: lying([L, C, R, LS, RS, LFE]),
    isFound: isOrder('film'),
  },
  { name: 'AAC order read as ITU', moves: ['C', 'LFE'], plant: lying([C, L, R, LS, RS, LFE]), isFound: isOrder('aac') },
  {
    name: 'ITU order read as film',
    moves: ['C', 'LFE'],
    plant: lying([L, C, R, RS, LFE, LS]),
    isFound: isOrder('itu'),
  },
  { name: 'L and R swapped', moves: [], plant: lying([R, L, C, LFE, LS, RS]), isFound: names('swapped-sides') },
  { name: 'Ls and Rs swapped', moves: [], plant: lying([L, R, C, LFE, RS, LS]), isFound: names('swapped-sides') },
  {
    name: 'fronts and surrounds swapped',
    moves: [],
    plant: lying([LS, RS, C, LFE, L, R]),
    isFound: names('swapped-front-and-surround'),
  },
  {
    name: 'C and LFE swapped',
    moves: ['C', 'LFE'],
    plant: lying([L, R, LFE, C, LS, RS]),
    isFound: names('full-range-lfe', 'LFE', 'C'),
  },
  {
    name: 'C and L swapped',
    moves: ['voice'],
    plant: lying([C, R, L, LFE, LS, RS]),
    isFound: names('dialogue-elsewhere', 'L'),
  },
  { name: 'L copied to Ls', moves: [], plant: lying([L, R, C, LFE, L, RS]), isFound: names('duplicate', 'L', 'Ls') },
  { name: 'Ls copied to Rs', moves: [], plant: lying([L, R, C, LFE, LS, LS]), isFound: names('duplicate', 'Ls', 'Rs') },
  {
    name: 'Rs an inverted copy of Ls',
    moves: [],
    plant: replaced(RS, (planes) => gained(planes[LS]!, -1)),
    isFound: names('inverted-duplicate', 'Ls', 'Rs'),
  },
  { name: 'R inverted', moves: [], plant: turned(R), isFound: names('inverted-pair', 'L', 'R') },
  { name: 'Rs inverted', moves: [], plant: turned(RS), isFound: names('inverted-pair', 'Ls', 'Rs') },
  { name: 'L dead', moves: [], plant: lost(L), isFound: names('silent', 'L') },
  { name: 'C dead', moves: ['C'], plant: lost(C), isFound: names('silent', 'C') },
  { name: 'Rs dead', moves: [], plant: lost(RS), isFound: names('silent', 'Rs') },
]

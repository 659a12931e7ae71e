import { areBandsAtWork, type BandsPlan, type FrameRange, framesPerHop, isAtWork } from '../domain/index.ts'
import { bytesPerPlaneSample, PLANE_SLACK_FRAMES, type Plane } from './decode.ts'
import { holdUnityOutside, takeGain, writeGain } from './gain.ts'
import type { Kernels } from './kernels.ts'
import { filterZeroPhase } from './zero-phase.ts'

export interface BandExports {
  readonly copyToBand: (plane: number, isWide: number, band: number, count: number) => void
  readonly addBandsBack: (
    plane: number,
    isWide: number,
    top: number,
    table: number,
    parts: number,
    count: number,
  ) => void
  readonly addBandSquares: (
    plane: number,
    isWide: number,
    table: number,
    parts: number,
    count: number,
    sums: number,
  ) => void
  readonly addBandProducts: (
    plane: number,
    isWide: number,
    once: number,
    twice: number,
    count: number,
    sums: number,
  ) => void
}

/** Signals of a stretch of programme in kernel memory. */
export type BandStretch = {
  readonly planes: readonly Plane[]
  /** Frame of the programme that the planes begin with, and how many frames they hold. */
  readonly firstFrame: number
  readonly frameCount: number
  readonly sampleRateHz: number
}

/**
 * What is filtered together: blocks on a grid of the programme, each with what is heard before and after it. A
 * Butterworth filter of 40 Hz and up has died away to the last bit of a float in that time, so a block's bands depend
 * on nothing else, wherever a programme is cut.
 */
const BLOCK_HOPS = 8
const MARGIN_HOPS = 1.5

/** Frames that a stretch must hold on either side of what comes out right. */
export function bandMarginFrames(sampleRateHz: number): number {
  return (BLOCK_HOPS + MARGIN_HOPS) * framesPerHop(sampleRateHz)
}

/**
 * Gives each band of every plane a gain, in add-back form: x + the sum of (g - 1) band(x). The bands are differences of
 * low-passes of the magnitude of a fourth-order Linkwitz-Riley filter without phase shift, so they add up to x. Where all
 * gains are 1 a sample stays as it is. What lies within `bandMarginFrames` of either end of the stretch is not right,
 * but at the programme's edges.
 * @param programme outside of it the plan does not act; absent: it acts everywhere
 */
export function treatBands(
  kernels: Kernels,
  stretch: BandStretch,
  plan: BandsPlan,
  programme: readonly FrameRange[] | undefined,
): void {
  const { sampleRateHz, planes } = stretch
  const mark = kernels.arena.mark()
  const room = takeRoom(kernels, stretch, plan.crossoversHz)
  const gains = { plan, programme, addresses: plan.gainsDb.map(() => takeGain(kernels, room.blockFrames)) }
  // A block is changed once the next one is filtered, whose margin it is.
  let waiting: number | null = null
  const blocks = { firstFrame: firstBlock(stretch, room), end: stretch.firstFrame + stretch.frameCount }
  for (let frame = blocks.firstFrame; frame < blocks.end; frame += room.blockFrames) {
    const isActing = areBandsAtWork(plan, { firstFrame: frame, frameCount: room.blockFrames, sampleRateHz })
    if (isActing) {
      for (let corner = 0; corner < plan.crossoversHz.length; corner++) {
        if (isPartAtWork(plan, corner, frame, room)) filterBlock(kernels, stretch, room, frame, corner, planes)
      }
    }
    if (waiting !== null) changeBlock(kernels, stretch, room, gains, waiting)
    waiting = isActing ? frame : null
  }
  if (waiting !== null) changeBlock(kernels, stretch, room, gains, waiting)
  kernels.arena.release(mark)
}

/** Whether either of the two bands that meet at a crossover moves in a block. */
function isPartAtWork({ gainsDb }: BandsPlan, corner: number, firstFrame: number, room: Room): boolean {
  const frames = { firstFrame, frameCount: room.blockFrames, sampleRateHz: room.sampleRateHz }
  return isAtWork(gainsDb[corner] ?? null, frames) || isAtWork(gainsDb[corner + 1] ?? null, frames)
}

function changeBlock(
  kernels: Kernels,
  stretch: BandStretch,
  room: Room,
  gains: {
    readonly plan: BandsPlan
    readonly programme: readonly FrameRange[] | undefined
    readonly addresses: readonly number[]
  },
  firstFrame: number,
): void {
  const { plan, addresses } = gains
  const block = { firstFrame, frameCount: framesOf(stretch, room, firstFrame) }
  for (const [band, address] of addresses.entries()) {
    const rideDb = plan.gainsDb[band] ?? null
    writeGain(kernels, { staticGainDb: 0, rideDb, ceilingDbtp: null }, room.sampleRateHz, block, address)
    holdUnityOutside(kernels, gains.programme, block, address)
  }
  const table = new Uint32Array(kernels.memory.buffer, room.table, 3 * plan.crossoversHz.length)
  for (const [index, plane] of stretch.planes.entries()) {
    let parts = 0
    for (let corner = 0; corner < plan.crossoversHz.length; corner++) {
      if (!isPartAtWork(plan, corner, firstFrame, room)) continue
      table[3 * parts] = bandAddress(stretch, room, firstFrame, corner, index)
      table[3 * parts + 1] = addresses[corner] as number
      table[3 * parts + 2] = addresses[corner + 1] as number
      parts++
    }
    const at = plane.address + (firstFrame - stretch.firstFrame) * bytesPerPlaneSample(plane)
    const top = addresses[plan.crossoversHz.length] as number
    kernels.exports.addBandsBack(at, plane.isWide ? 1 : 0, top, room.table, parts, block.frameCount)
  }
}

/**
 * The mean square of each band of each plane in each 100 ms of `within`: value (hop x planes + plane) x bands + band.
 * There is one band more than crossovers. A last hop that is cut short counts as if silence followed.
 */
export function bandSquares(
  kernels: Kernels,
  stretch: BandStretch,
  crossoversHz: readonly number[],
  within: { readonly firstFrame: number; readonly frameCount: number },
): Float64Array {
  const { planes } = stretch
  const bands = crossoversHz.length + 1
  const perHop = planes.length * bands
  const mark = kernels.arena.mark()
  const room = takeRoom(kernels, stretch, crossoversHz)
  const squares = new Float64Array(perHop * Math.ceil(within.frameCount / room.hop))
  const sums = new Float64Array(kernels.memory.buffer, kernels.arena.take(bands * 8), bands)
  const table = new Uint32Array(kernels.memory.buffer, room.table, crossoversHz.length)
  forEachHop(stretch, room, within, (block, frame, frames) => {
    if (frame === Math.max(block, within.firstFrame)) {
      for (let corner = 0; corner < crossoversHz.length; corner++) {
        filterBlock(kernels, stretch, room, block, corner, planes)
      }
    }
    for (const [index, plane] of planes.entries()) {
      for (let corner = 0; corner < table.length; corner++) {
        table[corner] = bandAddress(stretch, room, block, corner, index) + (frame - block) * 4
      }
      sums.fill(0)
      const at = plane.address + (frame - stretch.firstFrame) * bytesPerPlaneSample(plane)
      kernels.exports.addBandSquares(at, plane.isWide ? 1 : 0, room.table, table.length, frames, sums.byteOffset)
      const hop = Math.floor((frame - within.firstFrame) / room.hop)
      for (let band = 0; band < bands; band++) {
        const to = hop * perHop + index * bands + band
        squares[to] = (squares[to] as number) + (sums[band] as number) / room.hop
      }
    }
  })
  kernels.arena.release(mark)
  return squares
}

/**
 * Of each 100 ms of `within`, summed over all planes, four mean products, where b is a band of x and c the same band of
 * b: (x - 2 b + c)², the rest well beside the band; b b; b c; c c. They tell what a treatment leaves in the band: b - d c
 * has b b - 2 d b c + d d c c.
 * @param of the corners and which of the bands between them, the first or the one behind the first corner
 */
export function bandProducts(
  kernels: Kernels,
  stretch: BandStretch,
  { crossoversHz, band }: { readonly crossoversHz: readonly number[]; readonly band: number },
  within: { readonly firstFrame: number; readonly frameCount: number },
): Float64Array {
  const { planes } = stretch
  const corners = crossoversHz.length
  const mark = kernels.arena.mark()
  const room = takeRoom(kernels, stretch, [...crossoversHz, ...crossoversHz])
  const products = new Float64Array(PRODUCTS_PER_HOP * Math.ceil(within.frameCount / room.hop))
  const sums = new Float64Array(kernels.memory.buffer, kernels.arena.take(PRODUCTS_PER_HOP * 8), PRODUCTS_PER_HOP)
  const filterOnce = (block: number, turn: number, from: readonly Plane[]) => {
    for (let corner = 0; corner < corners; corner++) {
      filterBlock(kernels, stretch, room, block, turn * corners + corner, from)
    }
    if (band > 0) takeAwayBelow(kernels, stretch, room, block, turn * corners, corners, from)
  }
  const kept = (turn: number) => (turn + 1) * corners - 1
  forEachHop(stretch, room, within, (block, frame, frames) => {
    if (frame === Math.max(block, within.firstFrame)) {
      filterOnce(block, 0, planes)
      filterOnce(block, 1, room.bandsOf(block, kept(0)))
    }
    for (const [index, plane] of planes.entries()) {
      const [once, twice] = [0, 1].map((turn) => bandAddress(stretch, room, block, kept(turn), index)) as [
        number,
        number,
      ]
      const offset = (frame - block) * 4
      const at = plane.address + (frame - stretch.firstFrame) * bytesPerPlaneSample(plane)
      sums.fill(0)
      kernels.exports.addBandProducts(at, plane.isWide ? 1 : 0, once + offset, twice + offset, frames, sums.byteOffset)
      const to = PRODUCTS_PER_HOP * Math.floor((frame - within.firstFrame) / room.hop)
      for (let i = 0; i < PRODUCTS_PER_HOP; i++)
        products[to + i] = (products[to + i] as number) + (sums[i] as number) / room.hop
    }
  })
  kernels.arena.release(mark)
  return products
}

/**
 * Leaves in the last low-passed planes of a block the band behind the first corner: what they have more than those of the
 * first corner or, with one corner alone, what the signal has more than they.
 */
function takeAwayBelow(
  kernels: Kernels,
  stretch: BandStretch,
  room: Room,
  block: number,
  first: number,
  corners: number,
  from: readonly Plane[],
): void {
  const { buffer } = kernels.memory
  const begin = beginOf(stretch, room, block)
  const frames = endOf(stretch, room, block) - begin
  const upper = room.bandsOf(block, first + corners - 1)
  const lower = room.bandsOf(block, first)
  for (const [index, plane] of from.entries()) {
    const kept = new Float32Array(buffer, (upper[index] as Plane).address, frames)
    const below = new Float32Array(buffer, (lower[index] as Plane).address, frames)
    const offset = from === stretch.planes ? (begin - stretch.firstFrame) * bytesPerPlaneSample(plane) : 0
    const signal = new (plane.isWide ? Float64Array : Float32Array)(buffer, plane.address + offset, frames)
    const above = corners === 1 ? signal : kept
    for (let i = 0; i < frames; i++) kept[i] = (above[i] as number) - (below[i] as number)
  }
}

/** Numbers of each 100 ms that `bandProducts` gives. */
export const PRODUCTS_PER_HOP = 4

/** Memory in which blocks are filtered, taken once for a stretch; the caller gives it back. */
type Room = {
  readonly hop: number
  readonly blockFrames: number
  readonly marginFrames: number
  readonly sampleRateHz: number
  readonly cornersHz: readonly number[]
  /** Low-passed planes of a block, one for each plane of the stretch; blocks take turns in two sets of them. */
  readonly bandsOf: (block: number, corner: number) => readonly Plane[]
  /** Addresses that a kernel is handed: three for each corner. */
  readonly table: number
}

function takeRoom(kernels: Kernels, stretch: BandStretch, cornersHz: readonly number[]): Room {
  const hop = framesPerHop(stretch.sampleRateHz)
  const [blockFrames, marginFrames] = [BLOCK_HOPS * hop, MARGIN_HOPS * hop]
  const bytes = (blockFrames + 2 * marginFrames + PLANE_SLACK_FRAMES) * 4
  // Two sets in turn, so that the bands of a block last until those of the next are known.
  const sets = [0, 1].map(() =>
    cornersHz.map(() => stretch.planes.map((): Plane => ({ address: kernels.arena.take(bytes), isWide: false }))),
  )
  return {
    hop,
    blockFrames,
    marginFrames,
    sampleRateHz: stretch.sampleRateHz,
    cornersHz,
    bandsOf: (block, corner) => sets[(block / blockFrames) % 2]?.[corner] as readonly Plane[],
    table: kernels.arena.take(12 * cornersHz.length + 8),
  }
}

/** The first block whose margin the stretch holds. */
function firstBlock({ firstFrame }: BandStretch, { blockFrames, marginFrames }: Room): number {
  const block = Math.floor(firstFrame / blockFrames) * blockFrames
  return firstFrame > 0 && block - marginFrames < firstFrame ? block + blockFrames : block
}

function framesOf(stretch: BandStretch, { blockFrames }: Room, block: number): number {
  return Math.min(blockFrames, stretch.firstFrame + stretch.frameCount - block)
}

/** Low-passes a block of all planes, with its margins, or what an earlier filter has left of them. */
function filterBlock(
  kernels: Kernels,
  stretch: BandStretch,
  room: Room,
  block: number,
  corner: number,
  from: readonly Plane[],
): void {
  const begin = beginOf(stretch, room, block)
  const end = endOf(stretch, room, block)
  const bands = room.bandsOf(block, corner)
  const isChained = from !== stretch.planes
  for (const [index, plane] of from.entries()) {
    const offset = isChained ? 0 : (begin - stretch.firstFrame) * bytesPerPlaneSample(plane)
    const { address } = bands[index] as Plane
    kernels.exports.copyToBand(plane.address + offset, plane.isWide ? 1 : 0, address, end - begin)
  }
  const cornerHz = room.cornersHz[corner] as number
  for (let index = 0; index < bands.length; index += 2) {
    const first = (bands[index] as Plane).address
    const second = bands[index + 1]?.address ?? first
    const pair = { first, second, frameCount: end - begin }
    filterZeroPhase(kernels, pair, { kind: 'low-pass', cornerHz, sampleRateHz: room.sampleRateHz })
  }
}

function beginOf(stretch: BandStretch, room: Room, block: number): number {
  return Math.max(stretch.firstFrame, block - room.marginFrames)
}

function endOf(stretch: BandStretch, room: Room, block: number): number {
  return Math.min(block + room.blockFrames + room.marginFrames, stretch.firstFrame + stretch.frameCount)
}

/** Where a low-passed plane has the first frame of its block. */
function bandAddress(stretch: BandStretch, room: Room, block: number, corner: number, plane: number): number {
  const { address } = room.bandsOf(block, corner)[plane] as Plane
  return address + (block - beginOf(stretch, room, block)) * 4
}

/** Visits each 100 ms of `within`, cut at the borders of blocks and of `within`. */
function forEachHop(
  stretch: BandStretch,
  room: Room,
  within: { readonly firstFrame: number; readonly frameCount: number },
  visit: (block: number, frame: number, frames: number) => void,
): void {
  const end = within.firstFrame + within.frameCount
  for (let block = firstBlock(stretch, room); block < end; block += room.blockFrames) {
    const blockEnd = Math.min(block + framesOf(stretch, room, block), end)
    for (let frame = Math.max(block, within.firstFrame); frame < blockEnd; ) {
      const hopEnd = (Math.floor(frame / room.hop) + 1) * room.hop
      const frames = Math.min(hopEnd, blockEnd) - frame
      visit(block, frame, frames)
      frame += frames
    }
  }
}

import { framesPerHop } from '../domain/index.ts'
import { bytesPerPlaneSample, PLANE_SLACK_FRAMES, type Plane } from './decode.ts'
import type { Kernels } from './kernels.ts'
import { filterZeroPhase } from './zero-phase.ts'

export interface LowBandExports {
  readonly copyToBand: (plane: number, isWide: number, band: number, count: number) => void
  readonly addBandBack: (plane: number, isWide: number, band: number, gain: number, count: number) => void
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
export type LowBandStretch = {
  readonly planes: readonly Plane[]
  /** Frame of the programme that the planes begin with, and how many frames they hold. */
  readonly firstFrame: number
  readonly frameCount: number
  readonly sampleRateHz: number
}

/**
 * What is filtered together: blocks on a grid of the programme, each with what is heard before and after it. A
 * Butterworth filter of 40 Hz and up has died away to the last bit of a float in that time, so a block's band depends
 * on nothing else, wherever a programme is cut.
 */
const BLOCK_HOPS = 8
const MARGIN_HOPS = 1.5

/** Frames that a stretch must hold on either side of what comes out right. */
export function lowBandMarginFrames(sampleRateHz: number): number {
  return (BLOCK_HOPS + MARGIN_HOPS) * framesPerHop(sampleRateHz)
}

/**
 * Gives the low band of every plane a gain of its own, in add-back form: x + (g - 1) band(x), where band is a low-pass of
 * the magnitude of a fourth-order Linkwitz-Riley filter without phase shift. Where the gain is 1 a sample stays as it is.
 * What lies within `lowBandMarginFrames` of either end of the stretch is not right, but at the programme's edges.
 * @param gain address of the band's gain, float64, one value a frame of the stretch
 * @param isAtWork whether the gain differs from 1 anywhere in these frames of the programme
 */
export function treatLowBand(
  kernels: Kernels,
  stretch: LowBandStretch,
  crossoverHz: number,
  gain: number,
  isAtWork: (firstFrame: number, frameCount: number) => boolean,
): void {
  const { exports } = kernels
  const mark = kernels.arena.mark()
  // A block is changed once the next one is filtered, whose margin it is.
  let change = () => {}
  forEachBlock(kernels, stretch, crossoverHz, 1, ({ first, count, firstFrame, bandOf }) => {
    const changeBefore = change
    change = () => {}
    if (isAtWork(firstFrame, count)) {
      const bands = stretch.planes.map((plane) => bandOf(plane)[0] as number)
      change = () => {
        stretch.planes.forEach((plane, index) => {
          const address = plane.address + first * bytesPerPlaneSample(plane)
          exports.addBandBack(address, plane.isWide ? 1 : 0, bands[index] as number, gain + first * 8, count)
        })
      }
    }
    changeBefore()
  })
  change()
  kernels.arena.release(mark)
}

/**
 * Of each 100 ms of `within`, summed over all planes, four mean products, where b is the low band of x and c the low
 * band of b: (x - 2 b + c)², the rest well above the crossover; b b; b c; c c. They tell what a treatment leaves in the band: b - d c has b b - 2 d b c + d d c c.
 */
export function lowBandProducts(
  kernels: Kernels,
  stretch: LowBandStretch,
  crossoverHz: number,
  within: { readonly firstFrame: number; readonly frameCount: number },
): Float64Array {
  const { exports, memory, arena } = kernels
  const hop = framesPerHop(stretch.sampleRateHz)
  const end = within.firstFrame + within.frameCount
  const mark = arena.mark()
  const products = new Float64Array(PRODUCTS_PER_HOP * Math.ceil(within.frameCount / hop))
  const address = arena.take(PRODUCTS_PER_HOP * 8)
  const sums = new Float64Array(memory.buffer, address, PRODUCTS_PER_HOP)
  forEachBlock(kernels, stretch, crossoverHz, 2, ({ first, count, firstFrame, bandOf }) => {
    if (firstFrame >= end || firstFrame + count <= within.firstFrame) return
    for (const plane of stretch.planes) {
      const [once, twice] = bandOf(plane) as [number, number]
      for (let offset = 0; offset < count; offset += hop) {
        const frame = firstFrame + offset
        if (frame < within.firstFrame || frame >= end) continue
        const frames = Math.min(hop, count - offset, end - frame)
        const of = plane.address + (first + offset) * bytesPerPlaneSample(plane)
        sums.fill(0)
        exports.addBandProducts(of, plane.isWide ? 1 : 0, once + offset * 4, twice + offset * 4, frames, address)
        const at = PRODUCTS_PER_HOP * Math.floor((frame - within.firstFrame) / hop)
        for (let i = 0; i < PRODUCTS_PER_HOP; i++)
          products[at + i] = (products[at + i] as number) + (sums[i] as number) / hop
      }
    }
  })
  arena.release(mark)
  return products
}

/** Numbers of each 100 ms that `lowBandProducts` gives. */
const PRODUCTS_PER_HOP = 4

type Block = {
  /** Where it begins in the stretch, and in the programme. */
  readonly first: number
  readonly firstFrame: number
  readonly count: number
  /** Addresses of the block's band of a plane, filtered once, twice, ... */
  readonly bandOf: (plane: Plane) => readonly number[]
}

/** Filters block after block; takes its room from the arena, which the caller gives back. */
function forEachBlock(
  kernels: Kernels,
  stretch: LowBandStretch,
  cornerHz: number,
  times: number,
  act: (block: Block) => void,
): void {
  const { planes, frameCount, sampleRateHz } = stretch
  const hop = framesPerHop(sampleRateHz)
  const [blockFrames, margin] = [BLOCK_HOPS * hop, MARGIN_HOPS * hop]
  const room = (blockFrames + 2 * margin + PLANE_SLACK_FRAMES) * 4
  // Two sets in turn, so that the bands of a block last until those of the next are known.
  const [even, odd] = [0, 1].map(() =>
    planes.map(() => Array.from({ length: times }, () => kernels.arena.take(room))),
  ) as [number[][], number[][]]
  const grid = Math.floor(stretch.firstFrame / blockFrames) * blockFrames
  for (let firstFrame = grid; firstFrame < stretch.firstFrame + frameCount; firstFrame += blockFrames) {
    const first = firstFrame - stretch.firstFrame
    const [from, to] = [first - margin, first + blockFrames + margin]
    if (from < 0 && stretch.firstFrame > 0) continue
    const [begin, end] = [Math.max(0, from), Math.min(to, frameCount)]
    const bandOf = (plane: Plane) => {
      const scratch = (firstFrame / blockFrames) % 2 === 0 ? even : odd
      const bands = scratch[planes.indexOf(plane)] as readonly number[]
      let filtered = plane.address + begin * bytesPerPlaneSample(plane)
      let isWide = plane.isWide ? 1 : 0
      for (const band of bands) {
        kernels.exports.copyToBand(filtered, isWide, band, end - begin)
        const pair = { first: band, second: band, frameCount: end - begin }
        filterZeroPhase(kernels, pair, { kind: 'low-pass', cornerHz, sampleRateHz })
        filtered = band
        isWide = 0
      }
      return bands.map((band) => band + (first - begin) * 4)
    }
    act({ first, firstFrame, count: Math.min(blockFrames, frameCount - first), bandOf })
  }
}

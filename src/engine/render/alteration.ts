import { type CeilingEvent, dbToGain, framesPerHop, gainToDb, type Segment } from '../../domain/index.ts'
import type { Kernels } from '../../dsp/index.ts'
import type { Stretch } from './stretch.ts'

/** What a ceiling took from one segment. */
export type CeilingAction = {
  /** Stretches in which it turned the gain down, counted where they begin. */
  readonly events: number
  /** The same stretches in seconds of the programme; one that crosses the segment's border is cut there. */
  readonly places: readonly CeilingEvent[]
  /** Deepest reduction, at most 0. */
  readonly deepestDb: number
  readonly framesBelow01Db: number
  readonly framesBelow1Db: number
  readonly framesBelow3Db: number
  /** Reduction of each begun 100 ms of the segment, of the mean gain, in dB, 0 or more; empty where it never acted. */
  readonly reduction100ms: Float64Array
}

/** What a group of channels gave to its own peaks before all of them were held together. */
export type GroupAction = { readonly name: string; readonly action: CeilingAction }

/**
 * What C and the surrounds lost by themselves is still in the fronts of an upmix, which are the stereo less what they are:
 * sums over the frames in which any group acted, both fronts together, full scale = 1.
 */
export type FrontResidue = {
  readonly frames: number
  readonly squares: number
  readonly frontSquares: number
  readonly peak: number
}

/** The action on the linked signals, and that on the LFE, which has a ceiling of its own. */
export type CeilingAlteration = CeilingAction & {
  readonly lfe: CeilingAction | null
  /** Empty where all channels are linked, or no group came near the ceiling. */
  readonly groups: readonly GroupAction[]
  /** Null where no group acted, or the fronts are channels of the source. */
  readonly frontResidue: FrontResidue | null
}

/** The action of a ceiling that nothing came near. */
export const CEILING_AT_REST: CeilingAction = {
  events: 0,
  places: [],
  deepestDb: 0,
  framesBelow01Db: 0,
  framesBelow1Db: 0,
  framesBelow3Db: 0,
  reduction100ms: new Float64Array(0),
}

/** Reads the ceiling's gain (address of float64, linear) over a segment of the stretch. */
export function describeCeiling(kernels: Kernels, address: number, stretch: Stretch, segment: Segment): CeilingAction {
  const gain = new Float64Array(kernels.memory.buffer, address, stretch.frameCount)
  const first = segment.firstFrame - stretch.firstFrame
  const end = first + segment.frameCount
  const below = [-0.1, -1, -3].map((db) => countBelow(gain, first, end, dbToGain(db))) as [number, number, number]
  const places = placesOf(gain, first, end).map(({ from, to, lowest }) => ({
    startSeconds: (stretch.firstFrame + from) / stretch.sampleRateHz,
    endSeconds: (stretch.firstFrame + to) / stretch.sampleRateHz,
    deepestDb: gainToDb(lowest),
  }))
  const isContinued = first > 0 && (gain[first - 1] as number) < 1 && (gain[first] as number) < 1
  return {
    events: places.length - (isContinued ? 1 : 0),
    places,
    deepestDb: places.reduce((deepest, place) => Math.min(deepest, place.deepestDb), 0),
    framesBelow01Db: below[0],
    framesBelow1Db: below[1],
    framesBelow3Db: below[2],
    reduction100ms: reductionOfHops(gain.subarray(first, end), framesPerHop(stretch.sampleRateHz)),
  }
}

function reductionOfHops(gain: Float64Array, hopFrames: number): Float64Array {
  return Float64Array.from({ length: Math.ceil(gain.length / hopFrames) }, (_, hop) => {
    const of = gain.subarray(hop * hopFrames, (hop + 1) * hopFrames)
    const mean = of.reduce((sum, each) => sum + each, 0) / of.length
    return mean < 1 ? -gainToDb(mean) : 0
  })
}

function countBelow(gain: Float64Array, first: number, end: number, threshold: number): number {
  let count = 0
  for (let frame = first; frame < end; frame++) if ((gain[frame] as number) < threshold) count++
  return count
}

function placesOf(gain: Float64Array, first: number, end: number) {
  const places: { from: number; to: number; lowest: number }[] = []
  for (let frame = first; frame < end; frame++) {
    if ((gain[frame] as number) >= 1) continue
    const from = frame
    let lowest = 1
    for (; frame < end && (gain[frame] as number) < 1; frame++) lowest = Math.min(lowest, gain[frame] as number)
    places.push({ from, to: frame, lowest })
  }
  return places
}

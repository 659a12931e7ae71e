import { type FrameRange, HOPS_PER_SECOND, loudnessOf, SHORT_TERM_SECONDS, windowMeans } from '../../../domain/index.ts'
import type { Part, Programme } from './programme.ts'

/** Stretches with less than this between them are one. */
const JOIN_SECONDS = 1
const SHORT_TERM_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND

/** A stretch by its short-term loudness: its own loudness, and where it is loudest. */
export type Stretch = FrameRange & { readonly loudnessLkfs: number; readonly peakFrame: number }

/**
 * The stretches whose short-term loudness lies where `isIn` wants it, each ending where its own sound does.
 * @param hopsOfParts the 100 ms of each part, as they shall be judged
 * @param isMeant asked of the hop in the middle of each window; absent: all are
 */
export function stretchesWhere(
  programme: Programme,
  hopsOfParts: readonly Float64Array[],
  isIn: (power: number) => boolean,
  isMeant: (part: Part, hop: number) => boolean = () => true,
): readonly Stretch[] {
  return programme.pieces.flatMap((part, index) => {
    const hops = hopsOfParts[index] as Float64Array
    const level = windowMeans(hops, SHORT_TERM_HOPS)
    return runs(level, (power, window) => isIn(power) && isMeant(part, window + SHORT_TERM_HOPS / 2))
      .map((run) => onTheSound(hops, run, isIn))
      .map(({ first, end }) => stretchOf(programme, part, hops, first, end))
  })
}

type Run = { first: number; end: number }

/** Runs of windows, as the hops that they reach over. */
function runs(level: Float64Array, isIn: (power: number, window: number) => boolean): Run[] {
  const found: Run[] = []
  for (const [window, power] of level.entries()) {
    if (!isIn(power, window)) continue
    const last = found.at(-1)
    if (last !== undefined && window - last.end < JOIN_SECONDS * HOPS_PER_SECOND) last.end = window + SHORT_TERM_HOPS
    else found.push({ first: window, end: window + SHORT_TERM_HOPS })
  }
  return found
}

/** A window reaches further than what makes it loud or soft: the stretch ends where its hops do. */
function onTheSound(hops: Float64Array, run: Run, isIn: (power: number) => boolean): Run {
  let { first, end } = run
  while (first < end && !isIn(hops[first] as number)) first++
  while (end > first && !isIn(hops[end - 1] as number)) end--
  return { first, end }
}

function stretchOf({ hopFrames }: Programme, part: Part, hops: Float64Array, first: number, end: number): Stretch {
  const powers = hops.subarray(first, end)
  const mean = powers.reduce((sum, power) => sum + power, 0) / powers.length
  const highest = powers.reduce((best, power, hop) => (power > (powers[best] as number) ? hop : best), 0)
  const frame = (hop: number) => Math.min(part.endFrame, part.startFrame + hop * hopFrames)
  return {
    startFrame: frame(first),
    endFrame: frame(end),
    loudnessLkfs: loudnessOf(mean),
    peakFrame: frame(first + highest),
  }
}

import {
  type FrameRange,
  HOPS_PER_SECOND,
  isInside,
  loudnessOf,
  powerOf,
  printFigure,
  SHORT_TERM_SECONDS,
  type SpecLine,
  type Trim,
  windowMeans,
} from '../../../domain/index.ts'
import type { Found } from './describe.ts'
import { figuresUnder, hopsUnder, type Part, type Programme, trimOn } from './programme.ts'

/** The stretches that are named when the total is missed. */
const MOST_STRETCHES = 3
const SHORTEST_SECONDS = 3
const JOIN_SECONDS = 1
/** A stretch carries an excess when it stands this far above where the total should be; or below, when it lacks. */
const BESIDE_LU = 2
const MOST_TRIM_DB = 12
const TRIMS_PER_DB = 10
const SHORT_TERM_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND

/**
 * Where the total that is missed comes from, once the trims are on the programme: the stretches that stand above the
 * target and whose trim brings it down most, or the dialogue that would have to come up. The gates are computed anew.
 */
export function totalPassages(programme: Programme, trims: readonly Trim[]): readonly Found[] {
  const line = programme.lines[0] as SpecLine
  const field = line.field === 'dialogueLoudnessLkfs' ? 'dialogueLoudnessLkfs' : 'programmeLoudnessLkfs'
  const asItIs = programme.asItIs[field]
  const measured = figuresUnder(programme, trims)[field]
  // What conforms as it is has no total to mend, whatever the other passages would make of it.
  if (measured === null || asItIs === null || isInside(line, asItIs) || isInside(line, measured)) return []
  const bound = measured > line.high ? line.high : (line.low as number)
  const missedBy = measured - bound
  const found = stretches(programme, trims, missedBy > 0, bound).map((range) =>
    passageOf(programme, line, range, measured, bound),
  )
  const moved = found.map((passage) => ({ passage, change: Math.abs(effectOn(programme, trims, passage)) }))
  return moved
    .toSorted((a, b) => b.change - a.change)
    .slice(0, MOST_STRETCHES)
    .map(({ passage }) => passage)
}

type Stretch = FrameRange & { readonly loudnessLkfs: number; readonly peakFrame: number }

function stretches(programme: Programme, trims: readonly Trim[], isLoud: boolean, bound: number): Stretch[] {
  const hopsOfParts = hopsUnder(programme, trims)
  return programme.pieces.flatMap((part, index) => {
    const hops = hopsOfParts[index] as Float64Array
    const level = windowMeans(hops, SHORT_TERM_HOPS)
    const [floor, edge] = [powerOf(bound - 8), powerOf(bound + (isLoud ? BESIDE_LU : -BESIDE_LU))]
    // Too soft is said of dialogue only: soft music and silence are meant to be soft.
    const isSpoken = (window: number) => part.isSpeech?.[window + SHORT_TERM_HOPS / 2] === 1
    const isBeside = (power: number) => (isLoud ? power > edge : power < edge && power > floor)
    return runs(level, (power, window) => isBeside(power) && (isLoud || isSpoken(window)))
      .map((run) => onTheSound(hops, run, isBeside))
      .filter(({ first, end }) => end - first >= SHORTEST_SECONDS * HOPS_PER_SECOND)
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

function passageOf(programme: Programme, line: SpecLine, stretch: Stretch, measured: number, bound: number): Found {
  const { targetLkfs } = programme.spec.programmeLoudness
  const { loudnessLkfs, ...range } = stretch
  const isLoud = measured > bound
  const wanted = Math.max(-MOST_TRIM_DB, Math.min(MOST_TRIM_DB, targetLkfs - loudnessLkfs))
  const trim = Math.round(wanted * TRIMS_PER_DB) / TRIMS_PER_DB
  const missed = printFigure(Math.abs(measured - bound))
  return {
    kind: isLoud ? 'too-loud' : 'too-soft',
    line: line.field,
    ...range,
    measured,
    allowed: [line.low as number, line.high],
    unit: line.unit,
    excess: Math.abs(measured - bound),
    source: line.source,
    suggestedTrimDb: trim,
    message:
      `The total is missed by ${missed} LU, and this stretch, at ${printFigure(loudnessLkfs)} LKFS, ` +
      (isLoud
        ? 'carries much of the excess; bring it down to the level of the target, or move the whole mix by a static gain.'
        : 'is among those that would have to come up; raise it, or move the whole mix by a static gain.'),
  }
}

function effectOn(programme: Programme, trims: readonly Trim[], { suggestedTrimDb, ...range }: Found): number {
  const others = trims.filter(
    ({ startFrame, endFrame }) => endFrame <= range.startFrame || startFrame >= range.endFrame,
  )
  const before = figuresUnder(programme, trims).programmeLoudnessLkfs
  const after = figuresUnder(programme, [...others, trimOn(range, suggestedTrimDb ?? 0)]).programmeLoudnessLkfs
  return before === null || after === null ? 0 : after - before
}

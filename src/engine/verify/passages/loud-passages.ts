import {
  FINE_HOPS_PER_HOP,
  FINE_HOPS_PER_SECOND,
  type FrameRange,
  gainToDb,
  isInside,
  LAYOUTS,
  loudnessOf,
  MOMENTARY_SECONDS,
  powerOf,
  powerToDb,
  printFigure,
  SHORT_TERM_SECONDS,
  type SpecLine,
  type Trim,
  windowMeans,
} from '../../../domain/index.ts'
import type { Found } from './describe.ts'
import { gainsOnParts, type Part, type Programme, trimOn } from './programme.ts'

/** Places with less than this between them are one to the mixer. Our own choice. */
const JOIN_SECONDS = 1
/** More places than this are a matter for the whole mix. */
const MOST_PLACES = 6
/** Trims are suggested in tenths of a dB. */
const TRIMS_PER_DB = 10
const MOST_TRIM_DB = 24

const WINDOW_LINES: Readonly<Record<string, number>> = {
  maxMomentaryLkfs: MOMENTARY_SECONDS * FINE_HOPS_PER_SECOND,
  maxShortTermLkfs: SHORT_TERM_SECONDS * FINE_HOPS_PER_SECOND,
}

/**
 * Where a limit on momentary or short-term loudness or on true peak is passed, by the mix or by its fold-down, once the
 * trims are on the programme: one passage where several lines are missed together, the worst first.
 */
export function loudPassages(
  programme: Programme,
  foldDown: Programme | null,
  trims: readonly Trim[],
): readonly Found[] {
  const found = [programme, ...(foldDown === null ? [] : [foldDown])].flatMap((heard) => placesAbove(heard, trims))
  return joinedAcrossLines(found)
    .toSorted((a, b) => b.excess - a.excess)
    .slice(0, MOST_PLACES)
}

function placesAbove(programme: Programme, trims: readonly Trim[]): readonly Found[] {
  const gains = gainsOnParts(programme, trims)
  return programme.pieces.flatMap((part, index) => {
    const gain = gains?.[index] ?? null
    const powers = under(part.measured.programme10ms, gain)
    return linesOf(programme).flatMap((line) => {
      const length = WINDOW_LINES[line.field]
      if (length !== undefined) return windowRuns(programme, index, powers, line, length)
      return line.field.endsWith('maxTruePeakDbtp') ? peakRuns(programme, part, gain, line) : []
    })
  })
}

/** A fold-down has the lines that concern it, the mix all others. */
function linesOf({ lines }: Programme): readonly SpecLine[] {
  const isOfFoldDown = ({ field }: SpecLine) => field.startsWith('foldDown')
  return lines.every(isOfFoldDown) ? lines : lines.filter((line) => !isOfFoldDown(line))
}

function under(powers: Float64Array, gain: Float64Array | null): Float64Array {
  return gain === null ? powers : powers.map((power, i) => power * (gain[i] as number))
}

/** Runs, [first, end), that are joined over short gaps. */
function runsWhere(count: number, joined: number, isIn: (index: number) => boolean): { first: number; end: number }[] {
  const runs: { first: number; end: number }[] = []
  for (let i = 0; i < count; i++) {
    if (!isIn(i)) continue
    const last = runs.at(-1)
    if (last !== undefined && i - last.end < joined) last.end = i + 1
    else runs.push({ first: i, end: i + 1 })
  }
  return runs
}

function windowRuns(
  programme: Programme,
  index: number,
  powers: Float64Array,
  line: SpecLine,
  length: number,
): Found[] {
  const part = programme.pieces[index] as Part
  const means = windowMeans(powers, length)
  const limit = powerOf(line.high)
  const isMissed = (power: number) => power > limit && !isInside(line, loudnessOf(power))
  return runsWhere(means.length, JOIN_SECONDS * FINE_HOPS_PER_SECOND + length, (i) => isMissed(means[i] as number)).map(
    ({ first, end }) => {
      let worst = first
      for (let i = first; i < end; i++) if ((means[i] as number) > (means[worst] as number)) worst = i
      const sound = onTheSound(powers, first, end - 1 + length, limit)
      const measured = loudnessOf(means[worst] as number)
      const peak = Math.min(Math.max(worst + length / 2, sound.first), sound.end - 1)
      const range = framesOf(programme, part, sound)
      return {
        ...passageOf(line, range, measured, framesOf(programme, part, { first: peak, end: peak }).startFrame),
        suggestedTrimDb: leastTrim(programme, { index, powers, sound, range }, length, limit),
      }
    },
  )
}

/** A passage on the 10 ms of its part, and in frames. */
type Place = {
  readonly index: number
  readonly powers: Float64Array
  readonly sound: { readonly first: number; readonly end: number }
  readonly range: FrameRange
}

/** A window reaches further than what makes it loud: the passage is what itself stands above the limit. */
function onTheSound(powers: Float64Array, from: number, to: number, limit: number): { first: number; end: number } {
  let [first, end] = [from, to]
  while (first < end && (powers[first] as number) <= limit) first++
  while (end > first && (powers[end - 1] as number) <= limit) end--
  return first < end ? { first, end } : { first: from, end: to }
}

/**
 * The least trim, in tenths of a dB, under which no window that touches the passage passes the limit, glides counted
 * in; null if none is deep enough.
 */
function leastTrim(programme: Programme, place: Place, length: number, limit: number): number | null {
  const { index, powers, sound, range } = place
  const from = Math.max(0, sound.first - length + 1)
  const around = powers.subarray(from, Math.min(powers.length, sound.end + length - 1))
  const isEnough = (tenths: number): boolean => {
    const gains = gainsOnParts(programme, [trimOn(range, -tenths / TRIMS_PER_DB)])?.[index]
    const trimmed = around.map((power, i) => power * (gains?.[from + i] ?? 1))
    return windowMeans(trimmed, length).every((power) => power <= limit)
  }
  let [low, high] = [0, MOST_TRIM_DB * TRIMS_PER_DB]
  if (!isEnough(high)) return null
  while (high - low > 1) {
    const middle = (low + high) >> 1
    if (isEnough(middle)) high = middle
    else low = middle
  }
  return -high / TRIMS_PER_DB
}

function peakRuns(programme: Programme, part: Part, gain: Float64Array | null, line: SpecLine): Found[] {
  const { measured, startFrame } = part
  const history = measured.truePeak100ms
  const channelCount = LAYOUTS[measured.layout].length
  const gainDbAt = (hop: number) => {
    const fine = hop * FINE_HOPS_PER_HOP + FINE_HOPS_PER_HOP / 2
    return gain === null ? 0 : powerToDb(gain[Math.min(gain.length - 1, fine)] ?? 1)
  }
  if (history === null) return highestPeak(programme, part, line, gainDbAt)
  const hopCount = history.length / channelCount
  const levels = Float64Array.from({ length: hopCount }, (_, hop) => {
    const row = history.subarray(hop * channelCount, (hop + 1) * channelCount)
    return gainToDb(row.reduce((most, peak) => Math.max(most, peak), 0)) + gainDbAt(hop)
  })
  const perSecond = FINE_HOPS_PER_SECOND / FINE_HOPS_PER_HOP
  return runsWhere(hopCount, JOIN_SECONDS * perSecond, (hop) => !isInside(line, levels[hop] as number)).map(
    ({ first, end }) => {
      let worst = first
      for (let hop = first; hop < end; hop++) if ((levels[hop] as number) > (levels[worst] as number)) worst = hop
      const range = aroundHops(programme, part, first, end)
      const peakFrame = Math.min(range.endFrame - 1, startFrame + Math.round((worst + 0.5) * programme.hopFrames))
      return peakPassage(line, range, levels[worst] as number, peakFrame)
    },
  )
}

/** Without a history only the highest peak of a part has a place. */
function highestPeak(programme: Programme, part: Part, line: SpecLine, gainDbAt: (hop: number) => number): Found[] {
  const { hopFrames } = programme
  const peak = part.measured.channels.map(({ truePeak }) => truePeak).reduce((a, b) => (b.value > a.value ? b : a))
  const hop = Math.floor(peak.frameIndex / hopFrames)
  const measured = gainToDb(peak.value) + gainDbAt(hop)
  if (isInside(line, measured)) return []
  const range = aroundHops(programme, part, hop, hop + 1)
  return [peakPassage(line, range, measured, part.startFrame + peak.frameIndex)]
}

/** Hops with one more on each side, so that a trim stands in full wherever the peak is. */
function aroundHops(programme: Programme, part: Part, first: number, end: number): FrameRange {
  const fine = (hop: number) => Math.max(0, hop) * FINE_HOPS_PER_HOP
  return framesOf(programme, part, { first: fine(first - 1), end: fine(end + 1) })
}

function peakPassage(line: SpecLine, range: FrameRange, measured: number, peakFrame: number): Found {
  const trim = -Math.ceil((measured - line.high) * TRIMS_PER_DB) / TRIMS_PER_DB
  return { ...passageOf(line, range, measured, peakFrame), suggestedTrimDb: trim }
}

function framesOf({ hopFrames }: Programme, part: Part, { first, end }: { first: number; end: number }): FrameRange {
  const fineFrames = hopFrames / FINE_HOPS_PER_HOP
  const frame = (fine: number) => Math.min(part.endFrame, Math.round(part.startFrame + fine * fineFrames))
  return { startFrame: frame(first), endFrame: frame(end) }
}

function passageOf(
  line: SpecLine,
  range: FrameRange,
  measured: number,
  peakFrame: number,
): Omit<Found, 'suggestedTrimDb'> {
  const excess = measured - line.high
  const unit = line.unit === 'dBTP' ? 'dB' : 'LU'
  return {
    kind: 'too-loud',
    line: line.field,
    ...range,
    peakFrame,
    measured,
    allowed: line.high,
    unit: line.unit,
    excess,
    source: line.source,
    message:
      `${line.name[0]?.toUpperCase()}${line.name.slice(1)} reaches ${printFigure(measured)} ${line.unit} here, ` +
      `${printFigure(excess)} ${unit} above the limit of ${printFigure(line.high)}; ${line.remedy}.`,
  }
}

/**
 * Passages of different lines that overlap or nearly do are one place: the worst line is told, one of the mix before one
 * of its fold-down, and the deepest trim kept.
 */
function joinedAcrossLines(found: readonly Found[]): Found[] {
  const joined: Found[] = []
  for (const passage of found.toSorted((a, b) => a.startFrame - b.startFrame)) {
    const last = joined.at(-1)
    if (last === undefined || passage.startFrame >= last.endFrame) {
      joined.push(passage)
      continue
    }
    const worse = isWorse(passage, last) ? passage : last
    const trims = [passage.suggestedTrimDb, last.suggestedTrimDb].filter((trim) => trim !== null)
    joined[joined.length - 1] = {
      ...worse,
      startFrame: last.startFrame,
      endFrame: Math.max(last.endFrame, passage.endFrame),
      suggestedTrimDb: trims.length < 2 ? null : Math.min(...trims),
    }
  }
  return joined
}

function isWorse(a: Found, b: Found): boolean {
  const isOfMix = ({ line }: Found) => !line.startsWith('foldDown')
  return isOfMix(a) === isOfMix(b) ? a.excess > b.excess : isOfMix(a)
}

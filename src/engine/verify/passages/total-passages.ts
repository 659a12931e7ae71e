import { isInside, powerOf, printFigure, type SpecLine, type Trim } from '../../../domain/index.ts'
import type { Found } from './describe.ts'
import { figuresUnder, hopsUnder, type Part, type Programme, trimOn } from './programme.ts'
import { type Stretch, stretchesWhere } from './stretches.ts'

/** The stretches that are named when the total is missed. */
const MOST_STRETCHES = 3
const SHORTEST_SECONDS = 3
/** A stretch carries an excess when it stands this far above where the total should be; or below, when it lacks. */
const BESIDE_LU = 2
const MOST_TRIM_DB = 12
const TRIMS_PER_DB = 10

/**
 * Where the total that is missed comes from, once the trims are on the programme: the stretches that stand above the
 * target and whose trim brings it down most, or the dialogue that would have to come up. The gates are computed anew.
 * The total is that of the mix, or of its fold-down where that is what `programme` holds.
 */
export function totalPassages(programme: Programme, trims: readonly Trim[]): readonly Found[] {
  const line = programme.lines[0] as SpecLine
  const field = line.field.endsWith('dialogueLoudnessLkfs') ? 'dialogueLoudnessLkfs' : 'programmeLoudnessLkfs'
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

/** Stretches that stand beside where the total should be: above it, or of dialogue below it. */
function stretches(programme: Programme, trims: readonly Trim[], isLoud: boolean, bound: number): readonly Stretch[] {
  const [floor, edge] = [powerOf(bound - 8), powerOf(bound + (isLoud ? BESIDE_LU : -BESIDE_LU))]
  const isBeside = (power: number) => (isLoud ? power > edge : power < edge && power > floor)
  // Too soft is said of dialogue only: soft music and silence are meant to be soft.
  const isMeant = (part: Part, hop: number) => isLoud || part.isSpeech?.[hop] === 1
  return stretchesWhere(programme, hopsUnder(programme, trims), isBeside, isMeant).filter(
    ({ startFrame, endFrame }) => endFrame - startFrame >= SHORTEST_SECONDS * programme.sampleRateHz,
  )
}

function passageOf(programme: Programme, line: SpecLine, stretch: Stretch, measured: number, bound: number): Found {
  const { targetLkfs } = programme.spec.programmeLoudness
  const { loudnessLkfs, ...range } = stretch
  const isLoud = measured > bound
  const wanted = Math.max(-MOST_TRIM_DB, Math.min(MOST_TRIM_DB, targetLkfs - loudnessLkfs))
  const trim = Math.round(wanted * TRIMS_PER_DB) / TRIMS_PER_DB
  const missed = printFigure(Math.abs(measured - bound))
  const whose = line.field.startsWith('foldDown')
    ? { total: ' of the Lo/Ro fold-down', level: ' there' }
    : { total: '', level: '' }
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
      `The total${whose.total} is missed by ${missed} LU, and this stretch, at ${printFigure(loudnessLkfs)} LKFS${whose.level}, ` +
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

import type { Passage } from '../../../domain/index.ts'
import { describePassage, type Found } from './describe.ts'
import { loudPassages } from './loud-passages.ts'
import { marginPassages } from './margin-passages.ts'
import { foldedDown, type PassageSearch, programmeOf } from './programme.ts'
import { rangePassages } from './range-passages.ts'
import { softPassages } from './soft-passages.ts'
import { stepPassages, trimsAgainst } from './step-passages.ts'
import { tonePassages } from './tone-passages.ts'
import { totalPassages } from './total-passages.ts'

export type { PassageSearch } from './programme.ts'

/**
 * The places that the mixer should go back to, the one with the largest effect on the total first. What a level step
 * or a tone explains is not told twice: lines and the total are searched as they would be without them. Where nothing
 * is at fault, the lines that are met with the least room. Without a speech lane nothing is said to be too soft.
 */
export function findPassages(search: PassageSearch): readonly Passage[] {
  const programme = programmeOf(search)
  if (programme.asItIs.programmeLoudnessLkfs === null) return []
  const tones = tonePassages(programme)
  const steps = stepPassages(programme)
  const undone = trimsAgainst([...tones, ...steps])
  const foldDown = foldedDown(programme)
  const loud = loudPassages(programme, foldDown, undone)
  const total = totalPassages(programme, undone)
  // What moves the total of the mix moves that of its fold-down.
  const foldedTotal = foldDown === null || total.length > 0 ? [] : totalPassages(foldDown, undone)
  const range = rangePassages(programme, undone)
  const soft = softPassages(programme, undone)
  const unmended = loud.filter((passage) => !isMendedBy(passage, total))
  const faults = [total, foldedTotal, range].reduce(withoutRepeats, [...tones, ...steps, ...unmended, ...soft])
  const found = faults.length > 0 ? faults : marginPassages(programme, foldDown)
  return found
    .map((passage) => describePassage(programme, passage))
    .toSorted((a, b) => sizeOf(b) - sizeOf(a) || b.excess - a.excess || a.startFrame - b.startFrame)
    .map((passage, index) => ({ ...passage, rank: index + 1 }))
}

/** True for a place that lies in a stretch which has to come down at least as far for the total. */
function isMendedBy(place: Found, total: readonly Found[]): boolean {
  return total.some(
    (stretch) =>
      stretch.startFrame <= place.startFrame &&
      stretch.endFrame >= place.endFrame &&
      (stretch.suggestedTrimDb ?? 0) <= (place.suggestedTrimDb ?? Number.NEGATIVE_INFINITY),
  )
}

/** A stretch that is already pointed at for another reason is not named for a total or the range again. */
function withoutRepeats(faults: readonly Found[], more: readonly Found[]): readonly Found[] {
  const isNamed = (stretch: Found) => faults.some((fault) => sharedFrames(fault, stretch) > lengthOf(stretch) / 2)
  return [...faults, ...more.filter((stretch) => !isNamed(stretch))]
}

function sharedFrames(a: Found, b: Found): number {
  return Math.min(a.endFrame, b.endFrame) - Math.max(a.startFrame, b.startFrame)
}

function lengthOf({ startFrame, endFrame }: Found): number {
  return endFrame - startFrame
}

function sizeOf({ effect }: Pick<Passage, 'effect'>): number {
  return Math.abs(effect?.changeLu ?? 0)
}

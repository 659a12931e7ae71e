import { type Clause, FINE_HOPS_PER_HOP, FINE_HOPS_PER_SECOND, loudnessOf, printFigure } from '../../../domain/index.ts'
import type { Found } from './describe.ts'
import type { Part, Programme } from './programme.ts'

const PRACTICE: Clause = {
  document: 'common practice',
  edition: '2026',
  clause: 'line-up tone stands before the programme, not in it',
  basis: 'common practice',
}

/** A tone moves less than this from one 10 ms to another, in power: 0.1 dB. Music and voices do not hold so still. */
const MOST_SWING = 1.0233
const SHORTEST_SECONDS = 1.5
const LOWEST_LKFS = -60
/** A gain that takes what it lies on out of every gate. */
const SILENCED_DB = -100

/** Steady tones that were left in the programme. */
export function tonePassages(programme: Programme): readonly Found[] {
  return programme.pieces.flatMap((part) =>
    steadyRuns(part).map(({ first, end }) => toneOf(programme, part, first, end)),
  )
}

type Run = { readonly first: number; readonly end: number }

/** Runs of 10 ms whose energy stays the same. */
function steadyRuns({ measured }: Part): readonly Run[] {
  const powers = measured.programme10ms
  const runs: Run[] = []
  let first = 0
  let [lowest, highest] = [Number.POSITIVE_INFINITY, 0]
  const close = (end: number) => {
    const isLong = end - first >= SHORTEST_SECONDS * FINE_HOPS_PER_SECOND
    if (isLong && loudnessOf(lowest) > LOWEST_LKFS) runs.push({ first, end })
  }
  for (const [i, power] of powers.entries()) {
    const [low, high] = [Math.min(lowest, power), Math.max(highest, power)]
    if (high <= MOST_SWING * low) {
      lowest = low
      highest = high
      continue
    }
    close(i)
    first = i
    lowest = power
    highest = power
  }
  close(powers.length)
  return runs
}

function toneOf(programme: Programme, part: Part, first: number, end: number): Found {
  const fineFrames = programme.hopFrames / FINE_HOPS_PER_HOP
  const startFrame = part.startFrame + first * fineFrames
  const endFrame = Math.min(part.endFrame, part.startFrame + end * fineFrames)
  const level = loudnessOf(part.measured.programme10ms[first + Math.floor((end - first) / 2)] as number)
  const { targetLkfs } = programme.spec.programmeLoudness
  return {
    kind: 'line-up-tone',
    line: 'lineUpTone',
    startFrame,
    endFrame,
    peakFrame: startFrame,
    measured: level,
    allowed: targetLkfs,
    unit: 'LKFS',
    excess: level - targetLkfs,
    source: PRACTICE,
    suggestedTrimDb: null,
    triedTrimDb: SILENCED_DB,
    message:
      `A steady tone at ${printFigure(level)} LKFS stands in the programme: a line-up tone that was left in? ` +
      'Cut it out, or name this stretch as tone in the sheet so that it is not measured.',
  }
}

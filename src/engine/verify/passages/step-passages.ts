import { type Clause, type LevelStep, printFigure, type Trim } from '../../../domain/index.ts'
import type { Found } from './describe.ts'
import { type Part, type Programme, trimOn } from './programme.ts'

const PRACTICE: Clause = {
  document: 'common practice',
  edition: '2026',
  clause: 'a level that is changed on everything at once is an edit, not the mix',
  basis: 'common practice',
}

/** A step must be this sure to be told without a partner; of two that are opposite one may be less sure. */
const SURE_ALONE = 100_000
const SURE = 1000
/** How far two gains may differ that belong together: a little, and what their own uncertainty allows. */
const TOLERANCE_DB = 0.05
const MOST_TOLERANCE_DB = 0.15
const UNCERTAINTIES = 4

/** One standard deviation of a step, from how sure it is. */
function uncertaintyDb({ stepDb, sureness }: LevelStep): number {
  return Math.abs(stepDb) / Math.sqrt(sureness)
}

function areOpposite(one: LevelStep, other: LevelStep): boolean {
  const sure = Math.max(one.sureness, other.sureness) >= SURE
  const allowance = UNCERTAINTIES * (uncertaintyDb(one) + uncertaintyDb(other))
  return sure && Math.abs(one.stepDb + other.stepDb) <= Math.min(MOST_TOLERANCE_DB, TOLERANCE_DB + allowance)
}

/** An edit stands alone: where more others about as sure lie this near, it is the sound's own way of beginning. */
const NEAR_SECONDS = 10
const ABOUT_AS_SURE = 1 / 30
const MOST_OTHERS = 2

/** Steps that stand out from what is around them; keyed tones, that begin at full level, are full of the rest. */
function standingOut(steps: readonly LevelStep[], sampleRateHz: number): readonly LevelStep[] {
  const reach = NEAR_SECONDS * sampleRateHz
  return steps.filter((step) => {
    const others = steps.filter(
      (other) => Math.abs(other.frame - step.frame) < reach && other.sureness >= step.sureness * ABOUT_AS_SURE,
    )
    return others.length - 1 <= MOST_OTHERS
  })
}

/**
 * Stretches between a level step and the opposite one: a scene, a reel or a few seconds at another gain than what
 * stands around them. A step that finds no partner reaches to the nearer end of its part of the programme.
 */
export function stepPassages(programme: Programme): readonly Found[] {
  return programme.pieces.flatMap((part) => {
    const within = programme.levelSteps.filter(({ frame }) => frame > part.startFrame && frame < part.endFrame)
    const steps = standingOut(within, programme.sampleRateHz)
    const pairs = pairsOf(steps.filter(({ sureness }) => sureness >= SURE))
    pairs.push(...pairsOf(steps.filter((step) => !pairs.flat().includes(step))))
    const alone = steps.filter((step) => step.sureness >= SURE_ALONE && !pairs.flat().includes(step))
    const found = pairs.map(([first, second]) => {
      const stepDb = first.sureness >= second.sureness ? first.stepDb : -second.stepDb
      return passageOf(first.frame, second.frame, stepDb)
    })
    return [...found, ...alone.map((step) => toTheNearerEnd(step, part))]
  })
}

/** From the first to the last, each step with the next that is free and opposite. */
function pairsOf(steps: readonly LevelStep[]): (readonly [LevelStep, LevelStep])[] {
  const pairs: (readonly [LevelStep, LevelStep])[] = []
  const paired = new Set<LevelStep>()
  for (const [index, step] of steps.entries()) {
    if (paired.has(step)) continue
    const partner = steps.slice(index + 1).find((other) => !paired.has(other) && areOpposite(step, other))
    if (partner === undefined) continue
    paired.add(step).add(partner)
    pairs.push([step, partner])
  }
  return pairs
}

function toTheNearerEnd({ frame, stepDb }: LevelStep, part: Part): Found {
  return frame - part.startFrame < part.endFrame - frame
    ? passageOf(part.startFrame, frame, -stepDb)
    : passageOf(frame, part.endFrame, stepDb)
}

function passageOf(startFrame: number, endFrame: number, stepDb: number): Found {
  const amount = `${printFigure(Math.abs(stepDb), 1)} dB`
  const side = stepDb > 0 ? 'louder' : 'softer'
  return {
    kind: 'level-step',
    line: 'levelStep',
    startFrame,
    endFrame,
    peakFrame: startFrame,
    measured: stepDb,
    allowed: 0,
    unit: 'dB',
    excess: Math.abs(stepDb),
    source: PRACTICE,
    suggestedTrimDb: -Math.round(stepDb * 100) / 100,
    message:
      `Everything becomes ${amount} ${side} at the in point and goes back at the out point, while the sound itself goes ` +
      `on: a gain was left in; take it out with ${stepDb > 0 ? '\u2212' : '+'}${amount}, or confirm that it is meant.`,
  }
}

/** The trims that take these stretches back to the level of what stands around them; stretches inside others are cut. */
export function trimsAgainst(found: readonly Found[]): readonly Trim[] {
  const trims: Trim[] = []
  for (const passage of found.toSorted((a, b) => a.startFrame - b.startFrame || b.endFrame - a.endFrame)) {
    const startFrame = Math.max(passage.startFrame, trims.at(-1)?.endFrame ?? 0)
    if (startFrame >= passage.endFrame) continue
    trims.push(trimOn({ startFrame, endFrame: passage.endFrame }, passage.suggestedTrimDb ?? passage.triedTrimDb ?? 0))
  }
  return trims
}

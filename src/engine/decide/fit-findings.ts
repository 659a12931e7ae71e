import {
  type Clause,
  type DeliverySpec,
  FINE_HOPS_PER_HOP,
  type Finding,
  HOPS_PER_GATING_BLOCK,
  HOPS_PER_SECOND,
  type Measured,
  type Place,
  printFigure,
  printTime,
} from '../../domain/index.ts'
import { MOST_CEILING_MAKE_UP_DB } from './ceiling-forecast.ts'
import type { Aim, Home } from './choose-home.ts'
import { MAX_STATIC_GAIN_DB, wallsAt } from './corridor.ts'
import type { FitModel } from './fit-model.ts'
import { changedGates } from './gates.ts'
import { nameOfLine, type WindowLine } from './judged-lines.ts'
import type { Jump } from './land-on-target.ts'

/** What the mixer must know of how the total came to rest; nothing where it landed. */
export function findingsOfHome(model: FitModel, home: Home, aim: Aim, spec: DeliverySpec): Finding[] {
  switch (home.outcome) {
    case 'met':
    case 'landed':
      return []
    case 'leap':
      return [gateLeap(model, home, aim, spec, 'note')]
    case 'tolerance':
      return [outOfReach(model, home, aim, spec, 'warn')]
    case 'missed':
      return [(home.jump === null ? outOfReach : gateLeap)(model, home, aim, spec, 'fail')]
  }
}

/** No target applies: the programme is too short to be measured, or nothing in it passes the gate. */
export function nothingToMeasure(measured: Measured, spec: DeliverySpec): Finding {
  return {
    id: 'nothing-to-fit',
    severity: 'fail',
    line: 'programmeLoudnessLkfs',
    measured: null,
    allowed: null,
    unit: 'LKFS',
    at: null,
    source: 'ITU-R BS.1770-5 Annex 1',
    message:
      measured.programme10ms.length < HOPS_PER_GATING_BLOCK * FINE_HOPS_PER_HOP
        ? `The programme is shorter than one gating block of 400 ms: no target of ${spec.title} applies to it.`
        : `Nothing in the programme passes the absolute gate: no target of ${spec.title} applies to it.`,
  }
}

/** Hops at the gate make the total leap over the target: where they are, and which side was taken. */
function gateLeap(model: FitModel, home: Home, aim: Aim, spec: DeliverySpec, severity: Finding['severity']): Finding {
  const { lower, higher } = home.jump as Jump
  const changed = changedGates(
    model.programmeHops(model.gainsAt(lower.gainDb)),
    model.programmeHops(model.gainsAt(higher.gainDb)),
  )
  const missedBy = home.totalLkfs - aim.targetLkfs
  return {
    ...totalLine(home, spec, severity),
    id: 'gate-leap',
    at: changed.longest,
    source: 'ITU-R BS.1770-5 Annex 1',
    message:
      `The total leaps from ${printFigure(lower.totalLkfs, 2)} to ${printFigure(higher.totalLkfs, 2)} LKFS when ` +
      `${printFigure(changed.seconds)} s of soft passages pass the gate at a gain of ${printFigure(lower.gainDb, 2)} dB; ` +
      `the side ${printFigure(Math.abs(missedBy), 2)} LU ${missedBy < 0 ? 'below' : 'above'} the target was taken. ` +
      'Lower those passages a little to land on the target.',
  }
}

/** No gain reaches the target: what stops it, where, and by how much it falls short. */
function outOfReach(model: FitModel, home: Home, aim: Aim, spec: DeliverySpec, severity: Finding['severity']): Finding {
  const stop = whatStops(model, home, aim, spec)
  const shortBy = aim.targetLkfs - home.totalLkfs
  return {
    ...totalLine(home, spec, severity),
    id: 'target-out-of-reach',
    at: stop.at,
    source: sourceOf(stop.clause ?? spec.programmeLoudness.source),
    message:
      `${stop.reason}, so the total stays ${stop.isByForecast ? '' : `${printFigure(Math.abs(shortBy), 2)} LU `}` +
      `${shortBy > 0 ? 'below' : 'above'} the target of ${printFigure(spec.programmeLoudness.targetLkfs)} LKFS` +
      `${severity === 'warn' ? ', inside its tolerance' : ''}. ${stop.remedy}`,
  }
}

type Stop = {
  readonly reason: string
  readonly remedy: string
  readonly at: Place | null
  readonly clause: Clause | null
  /** How far the ceiling lets the total fall short is known from a render only. */
  readonly isByForecast?: boolean
}

function whatStops(model: FitModel, home: Home, aim: Aim, spec: DeliverySpec): Stop {
  const { corridor, lockedAt, homeRangeDb } = model
  const isAtEnd = home.outcome === 'tolerance' || home.homeDb >= homeRangeDb[1]
  if (lockedAt !== null && isAtEnd && lockedAt.homeDb <= homeRangeDb[1]) {
    const line = corridor.lines[corridor.bindingLine[lockedAt.hop] as number] as WindowLine
    return {
      reason: `At ${printTime(lockedAt.hop / HOPS_PER_SECOND)} ${nameOfLine(line)} asks for a lower gain than the lock allows`,
      remedy: 'Give the lock more tolerance, or trim the passage.',
      at: hopsToPlace(lockedAt.hop, lockedAt.hop + 1),
      clause: line.limit.source,
    }
  }
  if (model.ceilingBoundDb < MAX_STATIC_GAIN_DB && isAtEnd) {
    return {
      reason: `The true-peak ceiling would have to make the level: it already takes what ${MOST_CEILING_MAKE_UP_DB} dB of more gain could give`,
      remedy: 'Lower the highest peaks in the mix, or agree on another target or true-peak line.',
      at: null,
      clause: spec.maxTruePeakDbtp?.source ?? null,
      isByForecast: true,
    }
  }
  const wanted = wallsAt(corridor, homeRangeDb[1])
  const binding = mostBinding(model, wanted.upper)
  if (binding === null) {
    return {
      reason: `More than ${MAX_STATIC_GAIN_DB} dB of gain would be needed`,
      remedy: 'Check that the source is the programme and that its level is as intended.',
      at: null,
      clause: null,
    }
  }
  const fastest = model.anchoredTotal(wanted.upper)
  const reaches = home.outcome === 'tolerance' && fastest !== null && fastest >= aim.targetLkfs
  return {
    reason: `${capitalised(nameOfLine(binding.line))} holds the gain down`,
    remedy: reaches
      ? 'A shorter reach of the ride would get there, at the price of more movement.'
      : 'Reduce the loudest passages in the mix, or agree on another target.',
    at: binding.at,
    clause: binding.line.limit.source,
  }
}

/** The line that bounds most of the programme, and the hops where it bounds it most. */
function mostBinding(model: FitModel, upperDb: Float64Array): { line: WindowLine; at: Place } | null {
  const { lines, bindingLine } = model.corridor
  const counts = new Float64Array(lines.length)
  for (const index of bindingLine) if (index >= 0) counts[index] = (counts[index] as number) + 1
  const index = counts.indexOf(Math.max(0, ...counts))
  const line = lines[index]
  if (line === undefined || counts[index] === 0) return null
  let lowest = -1
  for (let k = 0; k < upperDb.length; k++) {
    if (bindingLine[k] === index && (lowest < 0 || (upperDb[k] as number) < (upperDb[lowest] as number))) lowest = k
  }
  let end = lowest
  while (end < upperDb.length && upperDb[end] === upperDb[lowest]) end++
  return { line, at: hopsToPlace(lowest, end) }
}

function totalLine(home: Home, spec: DeliverySpec, severity: Finding['severity']) {
  const { targetLkfs, toleranceBelowLu, toleranceAboveLu } = spec.programmeLoudness
  return {
    severity,
    line: 'programmeLoudnessLkfs',
    measured: home.totalLkfs,
    allowed: [targetLkfs - toleranceBelowLu, targetLkfs + toleranceAboveLu] as const,
    unit: 'LKFS',
  }
}

function hopsToPlace(firstHop: number, endHop: number): Place {
  return { startSeconds: firstHop / HOPS_PER_SECOND, endSeconds: endHop / HOPS_PER_SECOND, timecode: null }
}

function sourceOf({ document, edition, clause }: Clause): string {
  return `${document} (${edition}): ${clause}`
}

function capitalised(words: string): string {
  return words.charAt(0).toUpperCase() + words.slice(1)
}

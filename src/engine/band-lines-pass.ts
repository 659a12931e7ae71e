import { type BandLevelLimit, type BandLinePlan, type BandStandings, hasFoldDown } from '../domain/index.ts'
import { type Treated, treatedBy } from './bands-pass.ts'
import { bySegment, joinedHops, type Tell } from './by-segment.ts'
import type { Crew } from './crew.ts'
import {
  BAND_GUARD_DB,
  type BandRules,
  type BandSolution,
  bandLinesToMeet,
  bandOutOfReach,
  bandRules,
  bandsHeardUnder,
  type Decision,
  excessOf,
  type FitCorrection,
  solveBandLine,
} from './decide/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import { type Analysed, decide } from './forecast-pass.ts'
import { orderUnder } from './render-pass.ts'

/** What is to be fitted behind every treatment of its bands, and what was decided for it. */
export type Prepared = {
  readonly treated: Treated
  readonly forecast: { readonly decision: Decision; readonly correction: FitCorrection }
}

/** Less of a band is made up for by static gain and ride, which lift it again: so it takes some turns to rest. */
const MOST_TURNS = 16
/** The filters of a band are gentle: a further pass takes what lies beside its ends, and each costs time and memory. */
const MOST_PASSES = 3
const MOST_TREATMENTS = 8
/** A line is kept where its band stands no further above it than this, and solved no closer than the other. */
const KEPT_DB = 0.003
const SLACK_DB = 0.03
const MOST_SLACK_TURNS = 4
/** Stands for a band in which nothing is heard. */
const SILENT_DB = Number.NEGATIVE_INFINITY
/** At least this share of what is taken from a band stays taken, and less than this tells nothing of it. */
const LEAST_SHARE = 0.1
const LEAST_TELLING_DB = 0.02

/**
 * Turns down the bands that a decision leaves above their lines, as little as that takes, and decides anew. A line is
 * solved only while it is missed; where none is, nothing is changed.
 * @param shiftDb by how much renders went over each line, by its id: it is held as much lower
 */
export async function meetBandLines(
  order: DeliveryOrder,
  analysed: Analysed,
  prepared: Prepared,
  crew: Crew,
  tell: Tell,
  shiftDb: Readonly<Record<string, number>> = {},
): Promise<Prepared> {
  const lines = bandLinesToMeet(order.spec, order.fit)
  if (lines.length === 0 || prepared.forecast.decision.expected.anchorLkfs === null) return prepared
  const search = new Search(order, analysed, lines, shiftDb, crew, prepared)
  for (let turn = 0; turn < MOST_TURNS; turn++) {
    tell(turn / MOST_TURNS)
    if (!(await search.turn())) break
  }
  return search.found()
}

/** One pass over the band of a line. */
type Pass = { readonly line: BandLevelLimit; readonly pass: number }

/** In which turn, by how much a line was over, how much was asked for, and which share of that is expected to stay taken. */
type Asked = { readonly turn: number; readonly overDb: number; readonly askedDb: number; readonly share: number }

class Search {
  readonly #order: DeliveryOrder
  readonly #analysed: Analysed
  readonly #shiftDb: Readonly<Record<string, number>>
  readonly #crew: Crew
  readonly #rules: BandRules
  /** In the order in which they act. */
  #passes: readonly Pass[]
  /** Passes that cannot take what their line asks for. */
  readonly #spent = new Map<Pass, NonNullable<BandSolution['missed']>>()
  /** How each line stood when it was last looked at, by its id. */
  readonly #excessDb = new Map<string, number>()
  readonly #slackTurns = new Map<Pass, number>()
  /** What each pass was asked for when it was last solved. */
  readonly #asked = new Map<Pass, Asked>()
  #turns = 0
  #prepared: Prepared

  constructor(
    order: DeliveryOrder,
    analysed: Analysed,
    lines: readonly BandLevelLimit[],
    shiftDb: Readonly<Record<string, number>>,
    crew: Crew,
    prepared: Prepared,
  ) {
    this.#order = order
    this.#analysed = analysed
    this.#shiftDb = shiftDb
    this.#crew = crew
    this.#prepared = prepared
    this.#rules = bandRules(analysed.whole, order.fit, prepared.forecast.correction)
    const known = (id: string) => prepared.treated.bandLines?.filter((plan) => plan.line === id) ?? []
    this.#passes = lines.flatMap((line) => {
      return Array.from({ length: Math.max(1, known(line.id).length) }, (_, at) => ({ line, pass: at + 1 }))
    })
  }

  /** Solves the lines that are missed, and decides anew; false where none is. */
  async turn(): Promise<boolean> {
    this.#turns += 1
    const { treated, forecast } = this.#prepared
    const known = new Set(this.#passes.filter((pass) => this.#planOf(pass) !== null))
    let standings = await this.#standings(known)
    const heard = bandsHeardUnder(forecast.decision, treated.whole, forecast.correction, standings.signalCount)
    const excessesDb = this.#passes.map((_, index) => excessOf(standings, index, heard)?.excessDb ?? SILENT_DB)
    for (const [index, { line }] of this.#passes.entries()) this.#excessDb.set(line.id, excessesDb[index] as number)
    const taken = this.#toSolve((index) => excessesDb[index] as number)
    if (taken.length === 0) return false
    if (taken.some((pass) => !known.has(pass))) standings = await this.#standings(new Set([...known, ...taken]))
    const solved = taken.map((pass) => {
      const line = this.#passes.indexOf(pass)
      const shiftDb = this.#shiftDb[pass.line.id] ?? 0
      const leadDb = this.#leadDb(pass, (excessesDb[line] as number) + BAND_GUARD_DB + shiftDb)
      const asked = { standings, line, pass: pass.pass, plan: this.#planOf(pass), heard, leadDb, shiftDb }
      return { pass, ...solveBandLine(asked, this.#rules) }
    })
    for (const { pass, missed } of solved) {
      if (missed === null) this.#spent.delete(pass)
      else this.#spend(pass, missed)
    }
    if (solved.some(({ pass, plan }) => !isSame(plan, this.#planOf(pass)))) await this.#apply(solved)
    else if (solved.every(({ missed }) => missed === null)) return false
    return true
  }

  /** Where the search came to rest; a line that is out of reach makes it infeasible. */
  found(): Prepared {
    const { treated, forecast } = this.#prepared
    const findings = this.#passes.flatMap((last, index) => {
      const isLast = this.#passes[index + 1]?.line !== last.line
      const ofLine = this.#passes.filter(({ line }) => line === last.line)
      const missed = ofLine.every((pass) => this.#spent.has(pass)) ? this.#spent.get(last) : undefined
      const missedDb = this.#excessDb.get(last.line.id) ?? SILENT_DB
      return !isLast || missed === undefined || missedDb <= KEPT_DB
        ? []
        : [bandOutOfReach(last.line, { ...missed, missedDb })]
    })
    if (findings.length === 0) return this.#prepared
    const { decision } = forecast
    const told = { feasible: false, isUnproved: false, findings: [...decision.findings, ...findings] }
    return { treated, forecast: { ...forecast, decision: { ...decision, ...told } } }
  }

  #planOf({ line, pass }: Pass): BandLinePlan | null {
    return this.#prepared.treated.bandLines?.find((plan) => plan.line === line.id && plan.pass === pass) ?? null
  }

  /** A pass that does not reach is followed by another one, but where it is a lock that holds it. */
  #spend(pass: Pass, missed: NonNullable<BandSolution['missed']>): void {
    this.#spent.set(pass, missed)
    const isFollowed = this.#passes.some(({ line, pass: other }) => line === pass.line && other > pass.pass)
    if (isFollowed || missed.isLocked || pass.pass === MOST_PASSES || this.#passes.length >= MOST_TREATMENTS) return
    const next = { line: pass.line, pass: pass.pass + 1 }
    this.#passes = this.#passes.flatMap((each) => (each === pass ? [pass, next] : [each]))
  }

  /**
   * A pass for every line that is missed, the first that is not spent, or that is held lower than need be, the last that
   * acts. Of bands that overlap only the first is solved, since it changes the other, and only the last raised again.
   */
  #toSolve(excessDbOf: (pass: number) => number): readonly Pass[] {
    const taken: Pass[] = []
    for (const [index, { line, pass: first }] of this.#passes.entries()) {
      if (first > 1) continue
      const shiftDb = this.#shiftDb[line.id] ?? 0
      // What a render showed to be over is brought as far below the line as it was meant to be.
      const excessDb = excessDbOf(index) + (shiftDb > 0 ? shiftDb + BAND_GUARD_DB : 0)
      const ofLine = this.#passes.filter((pass) => pass.line === line)
      const raised = excessDb < -BAND_GUARD_DB - SLACK_DB && !this.#hasLater(index, line)
      const pass = raised
        ? ofLine.findLast((each) => this.#planOf(each) !== null)
        : ofLine.find((each) => !this.#spent.has(each))
      if (pass === undefined || (excessDb <= KEPT_DB && !raised)) continue
      if (taken.some((other) => overlap(other.line, line))) continue
      const slackTurns = this.#slackTurns.get(pass) ?? 0
      if (raised && slackTurns === MOST_SLACK_TURNS) continue
      if (raised) this.#slackTurns.set(pass, slackTurns + 1)
      taken.push(pass)
    }
    return taken
  }

  /** Whether the band of a later line overlaps that of this one and is turned down. */
  #hasLater(index: number, line: BandLevelLimit): boolean {
    const later = this.#passes.slice(index).filter((other) => other.line !== line && overlap(other.line, line))
    return later.some((other) => this.#planOf(other) !== null)
  }

  async #apply(solved: readonly { readonly pass: Pass; readonly plan: BandLinePlan }[]): Promise<void> {
    const bandLines = this.#passes.flatMap((pass) => {
      const plan = solved.find((each) => each.pass === pass)?.plan ?? this.#planOf(pass)
      return plan?.gainDb.some((db) => db < 0) ? [plan] : []
    })
    const { lowEnd, bands } = this.#prepared.treated
    const treatment = {
      ...(lowEnd !== undefined && { lowEnd }),
      ...(bands !== undefined && { bands }),
      ...(bandLines.length > 0 && { bandLines }),
    }
    const treated = await treatedBy(this.#order, this.#analysed, treatment, this.#crew, () => {})
    this.#prepared = { treated, forecast: await decide(this.#order, treated, this.#crew, () => {}) }
  }

  /**
   * What is asked for beyond what a line is over: less of a band is made up for by static gain and ride, which lift it
   * again. How much of what was asked for the last time is left tells how much that is.
   */
  #leadDb(pass: Pass, overDb: number): number {
    const before = this.#asked.get(pass)
    // What other lines did in between would tell of them.
    const isTelling = before?.turn === this.#turns - 1 && Math.abs(before.askedDb) > LEAST_TELLING_DB
    const share = isTelling ? (before.overDb - overDb) / before.askedDb : (before?.share ?? 1)
    const kept = Math.min(Math.max(share, LEAST_SHARE), 1)
    const askedDb = overDb / kept
    this.#asked.set(pass, { turn: this.#turns, overDb, askedDb, share: kept })
    return askedDb - overDb
  }

  async #standings(sought: ReadonlySet<Pass>): Promise<BandStandings> {
    const { source, programme } = this.#order
    const { lowEnd, bands, bandLines } = this.#prepared.treated
    const treatment = { ...(lowEnd && { lowEnd }), ...(bands && { bands }), ...(bandLines && { bandLines }) }
    const gains = { staticGainDb: 0, rideDb: null, ceilingDbtp: null, programme, ...treatment }
    const stereo = hasStereo(this.#order)
    const order = await orderUnder({ ...this.#order, stereo }, gains)
    const lines = this.#passes.map((each) => {
      const { id: line, fromHz, toHz } = each.line
      return { line, pass: each.pass, fromHz, toHz, isSought: sought.has(each) }
    })
    const task = (segment: number) => ({ kind: 'band-standings', segment, order, lines }) as const
    const values = joinedHops(await bySegment(this.#crew, source, task, () => {}))
    return { values, lines: this.#passes.map(({ line }) => line), signalCount: stereo ? 2 : 1 }
  }
}

/** Whether a stereo is delivered beside the mix. */
function hasStereo({ stereo, upmix, source }: DeliveryOrder): boolean {
  return stereo && (upmix !== null || hasFoldDown(source.layout))
}

type Band = Pick<BandLevelLimit, 'fromHz' | 'toHz'>

function overlap(one: Band, other: Band): boolean {
  const from = Math.max(one.fromHz ?? 0, other.fromHz ?? 0)
  return from < Math.min(one.toHz ?? Number.POSITIVE_INFINITY, other.toHz ?? Number.POSITIVE_INFINITY)
}

function isSame(one: BandLinePlan, other: BandLinePlan | null): boolean {
  return one.gainDb.every((db, hop) => db === (other?.gainDb[hop] ?? 0))
}

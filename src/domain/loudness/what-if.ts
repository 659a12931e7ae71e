import { assert } from '../findings.ts'
import { FINE_HOPS_PER_HOP, FINE_HOPS_PER_SECOND, HOPS_PER_SECOND } from '../grid.ts'
import { type GainPiece, gainPieces } from '../trims.ts'
import { ABSOLUTE_GATE_LKFS, gatingBlocks, HOPS_PER_GATING_BLOCK, RELATIVE_GATE_POWER } from './gate.ts'
import { HIGH_SHARE, LOW_SHARE, RANGE_GATE_POWER } from './range.ts'
import { type HighestWindow, HighestWindows } from './what-if-maximum.ts'
import { ChangingPowers } from './what-if-powers.ts'
import { loudnessOf, MOMENTARY_SECONDS, powerOf, SHORT_TERM_SECONDS, toHops, windowMeans } from './windows.ts'

/** A stretch that is measured as one piece: no window reaches across its borders. */
export type EnergyStretch = {
  /** K-weighted, channel-weighted mean squares of 10 ms. */
  readonly powers10ms: Float64Array
  /** Which of the curves of gain lies on it: reels have one each. */
  readonly file: number
  /** The 10 ms of the file at which it begins. */
  readonly firstFineHop: number
  /** 1 where its 100 ms are speech; null where nobody listened. */
  readonly isSpeech100ms: Uint8Array | null
}

/** The loudest window, and where it starts in its file. */
export type PlacedWindow = { readonly loudnessLkfs: number; readonly file: number; readonly startSeconds: number }

/** Every figure of loudness that a spec asks for; what cannot be measured is null. */
export type WhatIfFigures = WhatIfTotals & {
  readonly loudnessRangeLu: number | null
  readonly momentary: PlacedWindow | null
  readonly shortTerm: PlacedWindow | null
}

/** What a spec asks of a fold-down. */
export type WhatIfTotals = {
  readonly programmeLoudnessLkfs: number | null
  /** Mean over the hops that are speech; null without speech. */
  readonly dialogueLoudnessLkfs: number | null
}

const SHORT_TERM_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND
const MARGIN_HOPS = SHORT_TERM_HOPS - 1

/** Speech is summed in groups, so that a trim on one of them leaves the others' sums as they are. */
const SPEECH_GROUP_HOPS = 256

type Stretch = EnergyStretch & {
  readonly hops: Float64Array
  /** Where its gating blocks and its short-term windows begin among those of all stretches. */
  readonly firstBlock: number
  readonly firstWindow: number
  readonly speechSums: Float64Array
}

/** What is only made once somebody asks for more than totals. */
type Windows = {
  readonly ofAll: ChangingPowers
  readonly momentary: readonly HighestWindows[]
  readonly shortTerm: readonly HighestWindows[]
}

/** Hops [first, first + values.length) stand at `values` for now. */
type ChangedHops = { readonly first: number; readonly values: Float64Array }

/**
 * Answers what a programme would read if gains were put on it, exactly as if it were measured again: gates, range and
 * maxima are those of the changed energies. Built once; each question costs by what it changes, and changes nothing.
 */
export class WhatIf {
  readonly #stretches: readonly Stretch[]
  readonly #blocks: ChangingPowers
  #windows: Windows | null = null
  readonly #speechHopCount: number

  constructor(stretches: readonly EnergyStretch[]) {
    const blocks: Float64Array[] = []
    let firstBlock = 0
    let firstWindow = 0
    this.#stretches = stretches.map((stretch) => {
      const hops = toHops(stretch.powers10ms)
      const ownBlocks = gatingBlocks(hops)
      const windowCount = Math.max(0, hops.length - MARGIN_HOPS)
      blocks.push(ownBlocks)
      firstBlock += ownBlocks.length
      firstWindow += windowCount
      return {
        ...stretch,
        hops,
        firstBlock: firstBlock - ownBlocks.length,
        firstWindow: firstWindow - windowCount,
        speechSums: speechSums(hops, stretch.isSpeech100ms),
      }
    })
    this.#blocks = new ChangingPowers(joined(blocks), powerOf(ABSOLUTE_GATE_LKFS), 'above')
    this.#speechHopCount = this.#stretches.reduce((sum, { hops, isSpeech100ms }) => sum + marks(hops, isSpeech100ms), 0)
  }

  /**
   * The figures under one curve of ride points for each file (in dB, one per begun 100 ms, as a plan carries them);
   * null where a file is left as it is.
   */
  under(curvesDb: readonly (Float64Array | null)[]): WhatIfFigures {
    const { pieces, changed } = this.#changedBy(curvesDb)
    const windows = this.#windowsMade()
    windows.ofAll.change(this.#changes(changed, SHORT_TERM_HOPS, ({ firstWindow }) => firstWindow))
    return {
      ...this.#totals(changed),
      loudnessRangeLu: loudnessRange(windows.ofAll),
      momentary: this.#highest(pieces, windows.momentary),
      shortTerm: this.#highest(pieces, windows.shortTerm),
    }
  }

  /** The same, but the totals alone, in a fraction of the time and the memory. */
  totalsUnder(curvesDb: readonly (Float64Array | null)[]): WhatIfTotals {
    return this.#totals(this.#changedBy(curvesDb).changed)
  }

  #changedBy(curvesDb: readonly (Float64Array | null)[]) {
    const pieces = this.#stretches.map((stretch) => piecesOn(stretch, curvesDb[stretch.file] ?? null))
    return {
      pieces,
      changed: this.#stretches.map((stretch, index) => changedHops(stretch, pieces[index] as GainPiece[])),
    }
  }

  #totals(changed: readonly (readonly ChangedHops[])[]): WhatIfTotals {
    this.#blocks.change(this.#changes(changed, HOPS_PER_GATING_BLOCK, ({ firstBlock }) => firstBlock))
    return {
      programmeLoudnessLkfs: this.#programmeLoudness(),
      dialogueLoudnessLkfs: this.#dialogueLoudness(changed),
    }
  }

  #windowsMade(): Windows {
    const highest = (seconds: number) =>
      this.#stretches.map(({ powers10ms }) => new HighestWindows(powers10ms, seconds * FINE_HOPS_PER_SECOND))
    this.#windows ??= {
      ofAll: new ChangingPowers(
        joined(this.#stretches.map(({ hops }) => windowMeans(hops, SHORT_TERM_HOPS))),
        powerOf(ABSOLUTE_GATE_LKFS),
        'reaching',
      ),
      momentary: highest(MOMENTARY_SECONDS),
      shortTerm: highest(SHORT_TERM_SECONDS),
    }
    return this.#windows
  }

  #changes(changed: readonly (readonly ChangedHops[])[], length: number, firstOf: (stretch: Stretch) => number) {
    return this.#stretches.flatMap((stretch, index) =>
      (changed[index] as readonly ChangedHops[]).flatMap(({ first, values }) => {
        const from = Math.max(0, first - length + 1)
        const to = Math.min(stretch.hops.length, first + values.length + length - 1)
        if (to - from < length) return []
        const powers = stretch.hops.slice(from, to)
        powers.set(values, first - from)
        return [{ first: firstOf(stretch) + from, values: windowMeans(powers, length) }]
      }),
    )
  }

  #programmeLoudness(): number | null {
    const audible = this.#blocks.all()
    if (audible.count === 0) return null
    const gate = Math.max(powerOf(ABSOLUTE_GATE_LKFS), (audible.sum / audible.count) * RELATIVE_GATE_POWER)
    const kept = this.#blocks.passing(gate)
    return loudnessOf(kept.sum / kept.count)
  }

  #highest(pieces: readonly (readonly GainPiece[])[], windows: readonly HighestWindows[]): PlacedWindow | null {
    let best: HighestWindow = { power: 0, place: -1 }
    let where: Stretch | null = null
    for (const [index, stretch] of this.#stretches.entries()) {
      const own = (windows[index] as HighestWindows).under(pieces[index] as GainPiece[])
      if (own.power <= best.power) continue
      best = own
      where = stretch
    }
    if (where === null) return null
    const startSeconds = (where.firstFineHop + best.place) / FINE_HOPS_PER_SECOND
    return { loudnessLkfs: loudnessOf(best.power), file: where.file, startSeconds }
  }

  #dialogueLoudness(changed: readonly (readonly ChangedHops[])[]): number | null {
    if (this.#speechHopCount === 0) return null
    let sum = 0
    for (const [index, stretch] of this.#stretches.entries()) {
      sum += speechSum(stretch, changed[index] as readonly ChangedHops[])
    }
    return sum === 0 ? null : loudnessOf(sum / this.#speechHopCount)
  }
}

function loudnessRange(windows: ChangingPowers): number | null {
  const audible = windows.all()
  if (audible.count === 0) return null
  const gate = Math.max(powerOf(ABSOLUTE_GATE_LKFS), (audible.sum / audible.count) * RANGE_GATE_POWER)
  const kept = windows.passing(gate).count
  const rank = (share: number) => windows.atRank(audible.count - kept + Math.round((kept - 1) * share))
  return loudnessOf(rank(HIGH_SHARE)) - loudnessOf(rank(LOW_SHARE))
}

/** The pieces of a file's curve that lie on a stretch, counted from its beginning. */
function piecesOn({ powers10ms, firstFineHop }: EnergyStretch, pointsDb: Float64Array | null): readonly GainPiece[] {
  const length = powers10ms.length
  if (pointsDb === null) return [{ first: 0, end: length, powerGain: 1, ratio: 1 }]
  assert(pointsDb.length > 0, 'a curve has points')
  return gainPieces(pointsDb, firstFineHop + length).flatMap(({ first, end, powerGain, ratio }) => {
    if (end <= firstFineHop) return []
    let gain = powerGain
    if (ratio !== 1) for (let i = first; i < firstFineHop; i++) gain *= ratio
    return [{ first: Math.max(0, first - firstFineHop), end: end - firstFineHop, powerGain: gain, ratio }]
  })
}

/** The hops that the pieces change, in order; those nearer to each other than a short-term window stand together. */
function changedHops({ powers10ms, hops }: Stretch, pieces: readonly GainPiece[]): readonly ChangedHops[] {
  const touched: { first: number; end: number }[] = []
  for (const { first, end, powerGain, ratio } of pieces) {
    if (powerGain === 1 && ratio === 1) continue
    const hop = Math.floor(first / FINE_HOPS_PER_HOP)
    const endHop = Math.min(hops.length, Math.ceil(end / FINE_HOPS_PER_HOP))
    const last = touched.at(-1)
    if (last !== undefined && hop - last.end < MARGIN_HOPS) last.end = Math.max(last.end, endHop)
    else if (hop < endHop) touched.push({ first: hop, end: endHop })
  }
  let piece = 0
  return touched.map(({ first, end }) => {
    const values = new Float64Array(end - first)
    for (let hop = first; hop < end; hop++) {
      const from = hop * FINE_HOPS_PER_HOP
      while ((pieces[piece] as GainPiece).end <= from) piece++
      values[hop - first] = hopUnder(pieces, piece, powers10ms, hops[hop] as number, from)
    }
    return { first, values }
  })
}

/** Mean of the hop that begins at fine hop `from`, in piece `index`. */
function hopUnder(
  pieces: readonly GainPiece[],
  index: number,
  powers10ms: Float64Array,
  atRest: number,
  from: number,
): number {
  const to = from + FINE_HOPS_PER_HOP
  const whole = pieces[index] as GainPiece
  if (whole.ratio === 1 && whole.end >= to) return atRest * whole.powerGain
  let sum = 0
  for (let next = index; next < pieces.length; next++) {
    const { first, end, powerGain, ratio } = pieces[next] as GainPiece
    if (first >= to) break
    let gain = powerGain
    for (let i = ratio === 1 ? Math.max(first, from) : first; i < Math.min(end, to); i++) {
      if (i >= from) sum += (powers10ms[i] as number) * gain
      gain *= ratio
    }
  }
  return sum / FINE_HOPS_PER_HOP
}

function speechSums(hops: Float64Array, isSpeech: Uint8Array | null): Float64Array {
  const sums = new Float64Array(Math.ceil(hops.length / SPEECH_GROUP_HOPS))
  if (isSpeech === null) return sums
  for (const [hop, power] of hops.entries()) {
    const group = Math.floor(hop / SPEECH_GROUP_HOPS)
    if (isSpeech[hop] === 1) sums[group] = (sums[group] as number) + power
  }
  return sums
}

function marks(hops: Float64Array, isSpeech: Uint8Array | null): number {
  return isSpeech === null ? 0 : isSpeech.subarray(0, hops.length).reduce((sum, mark) => sum + mark, 0)
}

/** Energy of the speech hops of a stretch; groups without a change are not looked into. */
function speechSum({ hops, isSpeech100ms, speechSums }: Stretch, changed: readonly ChangedHops[]): number {
  if (isSpeech100ms === null) return 0
  let sum = 0
  let change = 0
  for (let group = 0; group < speechSums.length; group++) {
    const first = group * SPEECH_GROUP_HOPS
    const end = Math.min(hops.length, first + SPEECH_GROUP_HOPS)
    while (change < changed.length && endOf(changed[change] as ChangedHops) <= first) change++
    if ((changed[change]?.first ?? hops.length) >= end) {
      sum += speechSums[group] as number
      continue
    }
    for (let hop = first, n = change; hop < end; hop++) {
      if (isSpeech100ms[hop] !== 1) continue
      while (n < changed.length && endOf(changed[n] as ChangedHops) <= hop) n++
      const { first: from, values } = changed[n] ?? { first: end, values: hops }
      sum += (hop < from ? hops[hop] : values[hop - from]) as number
    }
  }
  return sum
}

function endOf({ first, values }: ChangedHops): number {
  return first + values.length
}

function joined(lists: readonly Float64Array[]): Float64Array {
  const all = new Float64Array(lists.reduce((sum, list) => sum + list.length, 0))
  let next = 0
  for (const list of lists) {
    all.set(list, next)
    next += list.length
  }
  return all
}

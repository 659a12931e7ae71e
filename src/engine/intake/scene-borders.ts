import { log2, powerToDb } from '../../domain/index.ts'
import { AMBIENCE, IN_PHASE, LEVEL, SKETCH_COLUMNS, SKETCH_FLOOR_DB, TONE_BANDS } from './scene-sketch.ts'

/** Hops from `from` to `end`. */
export type HopRange = { readonly from: number; readonly end: number }

/** What 100 ms sound like: rows of a sketch, and the probability of speech, 0..255. */
export type Sketch = { readonly rows: Float32Array; readonly speech: Uint8Array; readonly hopCount: number }

/** Silence of 4 s parts scenes; people who speak pause for less. */
const SILENT_DB = -65
const PAUSE_HOPS = 40
const HOPS_PER_BLOCK = 10
const LEAST_BLOCKS = 8
/**
 * How much a column wanders inside a scene and means nothing: levels in dB, shares, speech. Chosen on joined music, voices
 * and atmospheres (docs/scenes-quality.md).
 */
const TONE_SCALE_DB = 6
const LEVEL_SCALE_DB = 6
const WANDER_SCALE_DB = 4
const AMBIENCE_SCALE = 0.15
const DIFFERENCE_SCALE_DB = 6
/** The difference of the tracks below this, against their sum, is none: they are the same. */
const NO_DIFFERENCE = 1e-4
const SPEECH_SCALE = 0.4
const WANDER = SKETCH_COLUMNS
const SPEECH = SKETCH_COLUMNS + 1
const COLUMNS = SKETCH_COLUMNS + 2
/** What a border must explain, in bits. */
const BORDER_COST = 40
/**
 * What it must explain within 30 s on both sides: a long piece wanders so far that any parting of it explains much in
 * all. Silence up to 10 s parts scenes as little as a cut does, where both sides of it sound alike.
 */
const LEAST_CONTRAST = 100
const CONTRAST_BLOCKS = 30
const LONGEST_PAUSE_HOPS = 100
/** A border is moved by so much at most to where the change lies, and by so much to a pause. */
const REFINE_HOPS = 30
const REFINE_REACH_HOPS = 100
const SNAP_HOPS = 4
const PAUSE_DEPTH_DB = 15

/** Stretches that sound alike, in order; silence of 4 s and more between stretches that do not lies outside of them. */
export function alikeStretches(sketch: Sketch): readonly HopRange[] {
  const parts = soundingRuns(sketch).flatMap((run) => {
    const all = [run.from, ...bordersWithin(sketch, run), run.end]
    return all.slice(1).map((end, index) => ({ from: all[index] as number, end }))
  })
  const kept = withoutWeakBorders(sketch, parts)
  const isBorder = (index: number) => kept[index]?.end === kept[index + 1]?.from
  const moved = kept.map(({ from, end }, index) =>
    isBorder(index) ? snap(sketch, refine(sketch, end, { from, end: (kept[index + 1] as HopRange).end })) : end,
  )
  return kept.map(({ from }, index) => ({
    from: index > 0 && isBorder(index - 1) ? (moved[index - 1] as number) : from,
    end: moved[index] as number,
  }))
}

/** Joins what sounds alike across a border or a pause, the most alike first. */
function withoutWeakBorders(sketch: Sketch, parts: readonly HopRange[]): readonly HopRange[] {
  const kept = [...parts]
  const contrastAfter = (index: number) => contrast(sketch, kept[index] as HopRange, kept[index + 1] as HopRange)
  const contrasts = kept.slice(1).map((_, index) => contrastAfter(index))
  for (;;) {
    const weakest = contrasts.indexOf(Math.min(...contrasts))
    if (!((contrasts[weakest] ?? LEAST_CONTRAST) < LEAST_CONTRAST)) return kept
    const [before, behind] = kept.slice(weakest, weakest + 2) as [HopRange, HopRange]
    kept.splice(weakest, 2, { from: before.from, end: behind.end })
    contrasts.splice(weakest, 1)
    for (const index of [weakest - 1, weakest]) if (index in contrasts) contrasts[index] = contrastAfter(index)
  }
}

/** How much less it takes to tell the seconds beside a border, or a pause, as two scenes than as one, in bits. */
function contrast(sketch: Sketch, before: HopRange, behind: HopRange): number {
  if (behind.from - before.end > LONGEST_PAUSE_HOPS) return Number.POSITIVE_INFINITY
  const reach = CONTRAST_BLOCKS * HOPS_PER_BLOCK
  const left = blocksOf(sketch, { from: Math.max(before.from, before.end - reach), end: before.end })
  const right = blocksOf(sketch, { from: behind.from, end: Math.min(behind.end, behind.from + reach) })
  const sums = new Sums([...left, ...right])
  if (left.length === 0 || right.length === 0) return 0
  return sums.cost(0, sums.count) - sums.cost(0, left.length) - sums.cost(left.length, sums.count)
}

export function rowAt({ rows }: Sketch, hop: number, column: number): number {
  return rows[hop * SKETCH_COLUMNS + column] as number
}

/** What lies between pauses. */
function soundingRuns(sketch: Sketch): readonly HopRange[] {
  const runs: { from: number; end: number }[] = []
  for (let hop = 0; hop < sketch.hopCount; hop++) {
    if (rowAt(sketch, hop, LEVEL) < SILENT_DB) continue
    const last = runs.at(-1)
    if (last !== undefined && hop - last.end < PAUSE_HOPS) last.end = hop + 1
    else runs.push({ from: hop, end: hop + 1 })
  }
  return runs
}

/** The columns of hops `from` .. `end` in their scales, summed up: powers of the values too, to have variances of any part. */
class Sums {
  readonly count: number
  readonly #first: Float64Array
  readonly #second: Float64Array

  constructor(values: readonly Float64Array[]) {
    this.count = values.length
    this.#first = new Float64Array((values.length + 1) * COLUMNS)
    this.#second = new Float64Array((values.length + 1) * COLUMNS)
    for (const [row, columns] of values.entries()) {
      for (let column = 0; column < COLUMNS; column++) {
        const at = row * COLUMNS + column
        const value = columns[column] as number
        this.#first[at + COLUMNS] = (this.#first[at] as number) + value
        this.#second[at + COLUMNS] = (this.#second[at] as number) + value * value
      }
    }
  }

  /** What it takes to tell the rows `from` .. `end` - 1 if they are one scene, in bits: grows with what wanders in it. */
  cost(from: number, end: number): number {
    const n = end - from
    let product = 1
    for (let column = 0; column < COLUMNS; column++) {
      const mean =
        ((this.#first[end * COLUMNS + column] as number) - (this.#first[from * COLUMNS + column] as number)) / n
      const square =
        ((this.#second[end * COLUMNS + column] as number) - (this.#second[from * COLUMNS + column] as number)) / n
      product *= 1 + Math.max(0, square - mean * mean)
    }
    return n * log2(product)
  }
}

function bordersWithin(sketch: Sketch, run: HopRange): readonly number[] {
  return cheapestBorders(new Sums(blocksOf(sketch, run))).map((block) => run.from + block * HOPS_PER_BLOCK)
}

/** What each whole second of a range sounds like. */
function blocksOf(sketch: Sketch, { from, end }: HopRange): readonly Float64Array[] {
  const count = Math.floor((end - from) / HOPS_PER_BLOCK)
  return Array.from({ length: count }, (_, block) => {
    const start = from + block * HOPS_PER_BLOCK
    return described(sketch, start, start + HOPS_PER_BLOCK)
  })
}

/** The borders for which the scenes between them, and they themselves, cost least. */
function cheapestBorders(sums: Sums): readonly number[] {
  const { count } = sums
  const least = new Float64Array(count + 1).fill(Number.POSITIVE_INFINITY)
  const before = new Int32Array(count + 1)
  least[0] = -BORDER_COST
  for (let end = 1; end <= count; end++) {
    for (let from = 0; from === 0 || from <= end - LEAST_BLOCKS; from++) {
      const cost = (least[from] as number) + BORDER_COST + sums.cost(from, end)
      if (cost >= (least[end] as number)) continue
      least[end] = cost
      before[end] = from
    }
  }
  const borders: number[] = []
  for (let at = before[count] as number; at > 0; at = before[at] as number) borders.unshift(at)
  return borders
}

/** Means of the columns over some hops, in their scales. */
function described(sketch: Sketch, from: number, end: number): Float64Array {
  const out = new Float64Array(COLUMNS)
  const n = end - from
  let square = 0
  for (let hop = from; hop < end; hop++) {
    const level = Math.max(SILENT_DB, rowAt(sketch, hop, LEVEL))
    for (let band = 0; band < TONE_BANDS; band++) {
      const tone = Math.max(SKETCH_FLOOR_DB, rowAt(sketch, hop, band)) - level
      out[band] = (out[band] as number) + tone / TONE_SCALE_DB / Math.sqrt(TONE_BANDS / 4) / n
    }
    out[LEVEL] = (out[LEVEL] as number) + level / LEVEL_SCALE_DB / n
    square += (level * level) / n
    out[AMBIENCE] = (out[AMBIENCE] as number) + rowAt(sketch, hop, AMBIENCE) / AMBIENCE_SCALE / n
    const difference = powerToDb(Math.max(NO_DIFFERENCE, 1 - rowAt(sketch, hop, IN_PHASE)))
    out[IN_PHASE] = (out[IN_PHASE] as number) + difference / DIFFERENCE_SCALE_DB / n
    out[SPEECH] = (out[SPEECH] as number) + (sketch.speech[hop] ?? 0) / 255 / SPEECH_SCALE / n
  }
  const mean = (out[LEVEL] as number) * LEVEL_SCALE_DB
  out[WANDER] = Math.sqrt(Math.max(0, square - mean * mean)) / WANDER_SCALE_DB
  return out
}

/** Where near a border between blocks the change itself lies. */
function refine(sketch: Sketch, border: number, run: HopRange): number {
  const from = Math.max(run.from, border - REFINE_REACH_HOPS)
  const end = Math.min(run.end, border + REFINE_REACH_HOPS)
  const hops = Array.from({ length: end - from }, (_, n) => described(sketch, from + n, from + n + 1))
  const sums = new Sums(hops)
  let best = border - from
  let least = Number.POSITIVE_INFINITY
  for (let split = border - from - REFINE_HOPS; split <= border - from + REFINE_HOPS; split++) {
    if (split < 1 || split >= sums.count) continue
    const cost = sums.cost(0, split) + sums.cost(split, sums.count)
    if (cost < least) [least, best] = [cost, split]
  }
  return from + best
}

/** The pause beside a border, where there is one: the scene then begins with the sound behind it. */
function snap(sketch: Sketch, border: number): number {
  let quietest = border
  for (let hop = border - SNAP_HOPS; hop < border + SNAP_HOPS; hop++) {
    if (rowAt(sketch, hop, LEVEL) < rowAt(sketch, quietest, LEVEL)) quietest = hop
  }
  const levels = Array.from({ length: 4 * SNAP_HOPS }, (_, n) => rowAt(sketch, border - 2 * SNAP_HOPS + n, LEVEL))
  const usual = levels.filter(Number.isFinite).toSorted((a, b) => a - b)[levels.length >> 1] ?? 0
  if (rowAt(sketch, quietest, LEVEL) > usual - PAUSE_DEPTH_DB) return border
  let behind = quietest
  while (behind < border + SNAP_HOPS && rowAt(sketch, behind, LEVEL) < usual - PAUSE_DEPTH_DB) behind++
  return behind
}

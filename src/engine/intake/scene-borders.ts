import { log2, powerToDb } from '../../domain/index.ts'
import { AMBIENCE, IN_PHASE, LEVEL, SKETCH_COLUMNS, SKETCH_FLOOR_DB, TONE_BANDS } from './scene-sketch.ts'

/** Hops from `from` to `end`. */
export type HopRange = { readonly from: number; readonly end: number }

/** What 100 ms sound like: rows of a sketch, and the probability of speech, 0..255. */
export type Sketch = { readonly rows: Float32Array; readonly speech: Uint8Array; readonly hopCount: number }

/** Silence of 4 s is left out where scenes part across it; of more than 10 s always. */
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
 * all. Silence up to 10 s explains nothing: what sounds before and behind it is held side by side.
 */
const LEAST_CONTRAST = 100
const CONTRAST_BLOCKS = 30
const LONGEST_PAUSE_HOPS = 100
/** A border is moved by so much at most to where the change lies, and by so much to a pause. */
const REFINE_HOPS = 30
const REFINE_REACH_HOPS = 100
const SNAP_HOPS = 4
const PAUSE_DEPTH_DB = 15

/** Stretches that sound alike, in order; silence between stretches that do not lies outside of them. */
export function alikeStretches(sketch: Sketch): readonly HopRange[] {
  return programmesIn(sketch).flatMap((runs) => {
    const { heard, hops } = withoutPauses(sketch, runs)
    const pauses = runs.slice(1).map(({ from }) => hops.indexOf(from))
    const all = [0, ...bordersOf(heard, pauses), heard.hopCount]
    return all.slice(1).map((end, index) => ({
      from: hops[all[index] as number] as number,
      end: (hops[end - 1] as number) + 1,
    }))
  })
}

/** The runs of sound that only pauses part. */
function programmesIn(sketch: Sketch): readonly (readonly HopRange[])[] {
  const programmes: HopRange[][] = []
  for (const run of soundingRuns(sketch)) {
    const last = programmes.at(-1)
    if (last !== undefined && run.from - (last.at(-1) as HopRange).end <= LONGEST_PAUSE_HOPS) last.push(run)
    else programmes.push([run])
  }
  return programmes
}

/** Only what sounds, and which hop each of its hops was. */
function withoutPauses(sketch: Sketch, runs: readonly HopRange[]) {
  const hops = runs.flatMap(({ from, end }) => Array.from({ length: end - from }, (_, n) => from + n))
  const rows = new Float32Array(hops.length * SKETCH_COLUMNS)
  const speech = new Uint8Array(hops.length)
  for (const [index, hop] of hops.entries()) {
    rows.set(sketch.rows.subarray(hop * SKETCH_COLUMNS, (hop + 1) * SKETCH_COLUMNS), index * SKETCH_COLUMNS)
    speech[index] = sketch.speech[hop] ?? 0
  }
  return { heard: { rows, speech, hopCount: hops.length }, hops }
}

/** Borders within a sketch that knows no pauses; one close to where a pause was lies there. */
function bordersOf(sketch: Sketch, pauses: readonly number[]): readonly number[] {
  const found = withoutWeakBorders(sketch, cheapestBorders(sketch))
  const all = [0, ...found, sketch.hopCount]
  return found.map((border, index) => {
    const moved = refine(sketch, border, { from: all[index] as number, end: all[index + 2] as number })
    return pauses.find((pause) => Math.abs(pause - moved) <= SNAP_HOPS) ?? snap(sketch, moved)
  })
}

/** Without the borders across which it sounds alike, the most alike first. */
function withoutWeakBorders(sketch: Sketch, borders: readonly number[]): readonly number[] {
  const all = [0, ...borders, sketch.hopCount]
  const contrastAt = (index: number) =>
    contrast(sketch, ...(all.slice(index - 1, index + 2) as [number, number, number]))
  const contrasts = borders.map((_, index) => contrastAt(index + 1))
  for (;;) {
    const least = Math.min(...contrasts)
    if (!(least < LEAST_CONTRAST)) return all.slice(1, -1)
    const weakest = contrasts.indexOf(least)
    all.splice(weakest + 1, 1)
    contrasts.splice(weakest, 1)
    for (const index of [weakest - 1, weakest]) if (index in contrasts) contrasts[index] = contrastAt(index + 1)
  }
}

/** How much less it takes to tell the seconds beside a border as two scenes than as one, in bits. */
function contrast(sketch: Sketch, before: number, border: number, behind: number): number {
  const reach = CONTRAST_BLOCKS * HOPS_PER_BLOCK
  const left = blocksOf(sketch, { from: Math.max(before, border - reach), end: border })
  const right = blocksOf(sketch, { from: border, end: Math.min(behind, border + reach) })
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

/** What each whole second of a range sounds like. */
function blocksOf(sketch: Sketch, { from, end }: HopRange): readonly Float64Array[] {
  const count = Math.floor((end - from) / HOPS_PER_BLOCK)
  return Array.from({ length: count }, (_, block) => {
    const start = from + block * HOPS_PER_BLOCK
    return described(sketch, start, start + HOPS_PER_BLOCK)
  })
}

/** The borders for which the scenes between them, and they themselves, cost least. */
function cheapestBorders(sketch: Sketch): readonly number[] {
  const sums = new Sums(blocksOf(sketch, { from: 0, end: sketch.hopCount }))
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
  for (let at = before[count] as number; at > 0; at = before[at] as number) borders.unshift(at * HOPS_PER_BLOCK)
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

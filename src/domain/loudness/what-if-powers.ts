/**
 * Bins are the numbers of one sign, exponent and first eight bits of mantissa: at most 0.017 dB wide, and a power
 * falls into its bin without a logarithm.
 */
const SHIFT = 12
const BINS_PER_OCTAVE = 256
const OCTAVES = 64
/** The lowest bin begins at 2^-32, below any gate. */
const LOWEST_EXPONENT = 1023 - 32
const FIRST_KEY = LOWEST_EXPONENT * BINS_PER_OCTAVE
const BIN_COUNT = OCTAVES * BINS_PER_OCTAVE
const NO_BIN = -1

const float = new Float64Array(1)
const words = new Uint32Array(float.buffer)
const LITTLE_ENDIAN_HIGH = 1

function binOf(power: number): number {
  float[0] = power
  const bin = ((words[LITTLE_ENDIAN_HIGH] as number) >>> SHIFT) - FIRST_KEY
  return bin < 0 ? 0 : bin < BIN_COUNT ? bin : BIN_COUNT - 1
}

/** Powers [first, first + values.length) of the list stand at `values` for now. */
type Change = { readonly first: number; readonly values: Float64Array }

export type Kept = { readonly count: number; readonly sum: number }

/** Which powers count against a gate: those above it (BS.1770) or those that reach it (Tech 3342). */
export type GateSense = 'above' | 'reaching'

/**
 * A long list of powers of which a few change for a moment: how many pass a gate, their sum, and the n-th smallest,
 * without looking at those that stay. Powers that do not pass the floor are left out altogether.
 * Sums hold to 1e-11 of themselves, however loud what was taken away: each bin holds powers of one size only.
 */
export class ChangingPowers {
  readonly #rest: Float64Array
  readonly #restBins: Int16Array
  readonly #restCounts = new Int32Array(BIN_COUNT)
  readonly #restSums = new Float64Array(BIN_COUNT)
  /** Places in the list, bin by bin and in order inside each; those of bin b begin at `#firstOfBin[b]`. */
  readonly #places: Int32Array
  readonly #firstOfBin = new Int32Array(BIN_COUNT + 1)
  readonly #counts = new Int32Array(BIN_COUNT)
  readonly #sums = new Float64Array(BIN_COUNT)
  readonly #floor: number
  readonly #sense: GateSense
  #changes: readonly Change[] = []
  /** Bins of the powers that stand otherwise for now, at their places; what stands elsewhere is of no use. */
  readonly #changedBins: Int16Array

  constructor(powers: Float64Array, floor: number, sense: GateSense) {
    this.#rest = powers
    this.#floor = floor
    this.#sense = sense
    this.#restBins = new Int16Array(powers.length)
    this.#changedBins = new Int16Array(powers.length)
    for (const [i, power] of powers.entries()) {
      const bin = this.#binIfCounted(power)
      this.#restBins[i] = bin
      if (bin === NO_BIN) continue
      this.#restCounts[bin] = (this.#restCounts[bin] as number) + 1
      this.#restSums[bin] = (this.#restSums[bin] as number) + power
    }
    for (let bin = 0; bin < BIN_COUNT; bin++) {
      this.#firstOfBin[bin + 1] = (this.#firstOfBin[bin] as number) + (this.#restCounts[bin] as number)
    }
    this.#places = new Int32Array(this.#firstOfBin[BIN_COUNT] as number)
    const next = this.#firstOfBin.slice()
    for (const [i, bin] of this.#restBins.entries()) {
      if (bin !== NO_BIN) this.#places[(next[bin] as number)++] = i
    }
  }

  /** Puts everything back and then changes these; they are in order and do not overlap. */
  change(changes: readonly Change[]): void {
    this.#changes = changes
    this.#counts.set(this.#restCounts)
    this.#sums.set(this.#restSums)
    for (const change of changes) this.#takeOut(change)
    // An empty bin holds nothing, not what rounding left of it.
    for (let bin = 0; bin < BIN_COUNT; bin++) if (this.#counts[bin] === 0) this.#sums[bin] = 0
    for (const change of changes) this.#putIn(change)
  }

  /** Everything that passes the floor. */
  all(): Kept {
    return this.#fromBin(0)
  }

  /** What passes a gate that lies no lower than the floor. */
  passing(gate: number): Kept {
    const gateBin = binOf(gate)
    let { count, sum } = this.#fromBin(gateBin + 1)
    for (const power of this.#inBin(gateBin)) {
      if (!this.#passes(power, gate)) continue
      count += 1
      sum += power
    }
    return { count, sum }
  }

  /** The power that `rank` of those that pass the floor do not exceed, `rank` from 0. */
  atRank(rank: number): number {
    let below = 0
    let bin = 0
    while (below + (this.#counts[bin] as number) <= rank) below += this.#counts[bin++] as number
    return this.#inBin(bin).sort()[rank - below] as number
  }

  #passes(power: number, gate: number): boolean {
    return this.#sense === 'above' ? power > gate : power >= gate
  }

  #binIfCounted(power: number): number {
    return this.#passes(power, this.#floor) ? binOf(power) : NO_BIN
  }

  #takeOut({ first, values }: Change): void {
    const [counts, sums, bins, powers] = [this.#counts, this.#sums, this.#restBins, this.#rest]
    for (let i = first; i < first + values.length; i++) {
      const bin = bins[i] as number
      if (bin === NO_BIN) continue
      counts[bin] = (counts[bin] as number) - 1
      sums[bin] = (sums[bin] as number) - (powers[i] as number)
    }
  }

  #putIn({ first, values }: Change): void {
    const [counts, sums, bins] = [this.#counts, this.#sums, this.#changedBins]
    for (let i = 0; i < values.length; i++) {
      const power = values[i] as number
      const bin = this.#binIfCounted(power)
      bins[first + i] = bin
      if (bin === NO_BIN) continue
      counts[bin] = (counts[bin] as number) + 1
      sums[bin] = (sums[bin] as number) + power
    }
  }

  #fromBin(first: number): Kept {
    let count = 0
    let sum = 0
    for (let bin = first; bin < BIN_COUNT; bin++) {
      count += this.#counts[bin] as number
      sum += this.#sums[bin] as number
    }
    return { count, sum }
  }

  /** The powers in one bin, those that stay and those that changed. */
  #inBin(bin: number): Float64Array {
    const found = new Float64Array(this.#counts[bin] as number)
    let count = 0
    let change = 0
    for (let n = this.#firstOfBin[bin] as number; n < (this.#firstOfBin[bin + 1] as number); n++) {
      const place = this.#places[n] as number
      while (change < this.#changes.length && endOf(this.#changes[change] as Change) <= place) change++
      const next = this.#changes[change]
      if (next === undefined || place < next.first) found[count++] = this.#rest[place] as number
    }
    const bins = this.#changedBins
    for (const { first, values } of this.#changes) {
      for (let i = 0; i < values.length; i++) if (bins[first + i] === bin) found[count++] = values[i] as number
    }
    return found
  }
}

function endOf(change: Change): number {
  return change.first + change.values.length
}

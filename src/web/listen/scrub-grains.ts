/** What sounds now of a grain: a frame of the programme, and in which share. */
export type SoundingGrain = { frame: number; weight: number; age: number }

/** The frames around one that are at hand, [first, end); null: not even that one. */
export type Reach = (frame: number) => { readonly first: number; readonly end: number } | null

/** Half of a grain, in seconds: then the next may begin. Our own choice: long enough to tell a voice, short enough to tell a place. */
const HALF_SECONDS = 0.04

/**
 * Short grains of the programme from where a hand is, one for each place that it comes to, and nothing while it rests.
 * Each rises and falls as a raised cosine, and where two overlap their shares sum up to one: no sample is louder than the
 * programme. What comes so late that the hand has gone on is heard all the same, so that a fast hand hears something.
 */
export class ScrubGrains {
  readonly #half: number
  readonly #window: Float64Array
  readonly #grains: readonly SoundingGrain[]
  #wanted: number | null = null
  #late: number | null = null
  /** Frames until the next may begin. */
  #rest = 0

  constructor(sampleRateHz: number) {
    this.#half = Math.round(HALF_SECONDS * sampleRateHz)
    const length = 2 * this.#half
    this.#window = Float64Array.from({ length }, (_, i) => Math.sin((Math.PI * (i + 0.5)) / length) ** 2)
    this.#grains = [0, 1].map(() => ({ frame: 0, weight: 0, age: length }))
  }

  /** The hand came to a place. */
  goTo(frame: number): void {
    this.#wanted = frame
  }

  /** What the hand wanted at a place has come. */
  came(frame: number): void {
    if (this.#wanted !== null) this.#late = frame
  }

  /** Goes on by a frame; gives what sounds of each grain. */
  next(reach: Reach): readonly SoundingGrain[] {
    if (this.#rest > 0) this.#rest -= 1
    else if (this.#wanted !== null || this.#late !== null) this.#begin(reach)
    for (const grain of this.#grains) {
      grain.weight = this.#window[grain.age] ?? 0
      if (grain.weight === 0) continue
      grain.frame += 1
      grain.age += 1
    }
    return this.#grains
  }

  #begin(reach: Reach): void {
    const length = this.#window.length
    const from = (place: number | null) => {
      const there = place === null ? null : reach(place)
      // In the middle of the grain, unless what is at hand ends before.
      return there === null ? null : Math.max(there.first, Math.min(place! - this.#half, there.end - length))
    }
    const wanted = from(this.#wanted)
    const start = wanted ?? from(this.#late)
    this.#late = null
    if (start === null) return
    if (wanted !== null) this.#wanted = null
    const free = this.#grains.find(({ age }) => age >= length)!
    free.frame = start - 1
    free.age = 0
    this.#rest = this.#half - 1
  }
}

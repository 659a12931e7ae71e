/** What is heard: a frame of the programme, and how fast frames pass there; 0: none does. */
export type Heard = { readonly frame: number; readonly speed: number }

/** The word of the player: this frame leaves it then. */
type Told = Heard & { readonly atSeconds: number }

/** Words that are kept: more than lie between the player and the loudspeakers. */
const KEPT = 64

/** Which frame was made when, so that it is known what is heard after the way to the loudspeakers. */
export class HeardClock {
  readonly #sampleRateHz: number
  readonly #told: Told[] = []

  constructor(sampleRateHz: number) {
    this.#sampleRateHz = sampleRateHz
  }

  told({ frame, speed, atSeconds }: Told): void {
    this.#told.push({ frame, speed, atSeconds })
    if (this.#told.length > KEPT) this.#told.shift()
  }

  /** What leaves the player then, by the last word before; null where there was none. */
  at(seconds: number): Heard | null {
    const told = this.#told.findLast(({ atSeconds }) => atSeconds <= seconds) ?? this.#told[0]
    if (told === undefined) return null
    const { frame, speed, atSeconds } = told
    return { frame: frame + speed * this.#sampleRateHz * Math.max(0, seconds - atSeconds), speed }
  }
}

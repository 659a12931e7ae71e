/// <reference path="./worklet-globals.d.ts" />
import { type Asked, type Chunk, MixingDesk } from './mixing-desk.ts'

/** What the page tells the player. */
export type ToPlayer =
  | { readonly kind: 'ask'; readonly asked: Asked }
  | { readonly kind: 'chunk'; readonly chunk: Chunk; readonly journey: number }
  | { readonly kind: 'seek'; readonly frame: number; readonly journey: number }
  | { readonly kind: 'play'; readonly isPlaying: boolean }

/** Where the player is: told about twenty times a second. */
export type FromPlayer = { readonly frame: number; readonly journey: number }

/** What a player is born with. */
export type PlayerOptions = { readonly hopFrames: number; readonly chunkFrames: number; readonly asked: Asked }

const TELL_EVERY_BLOCKS = 18

/** The mixing desk in the browser's audio thread. */
class Player extends AudioWorkletProcessor {
  readonly #desk: MixingDesk
  /** Counts the seeks, so that what was on its way before the last one is not played. */
  #journey = 0
  #blocks = 0

  constructor({ processorOptions }: { readonly processorOptions: PlayerOptions }) {
    super()
    const { hopFrames, chunkFrames, asked } = processorOptions
    this.#desk = new MixingDesk(sampleRate, hopFrames, chunkFrames, asked)
    this.port.onmessage = ({ data }) => this.#hear(data as ToPlayer)
  }

  process(_inputs: unknown, [outputs]: readonly Float32Array[][]): boolean {
    this.#desk.render(outputs!)
    this.#blocks += 1
    if (this.#blocks % TELL_EVERY_BLOCKS === 0) {
      this.port.postMessage({ frame: this.#desk.frame, journey: this.#journey } satisfies FromPlayer)
    }
    return true
  }

  #hear(message: ToPlayer): void {
    if (message.kind === 'ask') this.#desk.ask(message.asked)
    else if (message.kind === 'play') this.#desk.isPlaying = message.isPlaying
    else if (message.kind === 'seek') {
      this.#journey = message.journey
      this.#desk.seek(message.frame)
    } else if (message.journey === this.#journey) this.#desk.give(message.chunk)
  }
}

registerProcessor('plimsoll-player', Player)

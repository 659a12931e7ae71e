/// <reference path="./worklet-globals.d.ts" />
import type { FrameRange } from '../../domain/index.ts'
import type { Chunk } from './chunk.ts'
import type { MeterReading } from './heard-meter.ts'
import { type Asked, type DeskShape, MixingDesk, type OutputNoise, type Ridden } from './mixing-desk.ts'

/** What the page tells the player. `feed`: the way on which chunks come. */
export type ToPlayer =
  | { readonly kind: 'feed'; readonly port: MessagePort }
  | { readonly kind: 'ask'; readonly asked: Asked }
  | { readonly kind: 'fader'; readonly gainDb: number }
  | { readonly kind: 'seek'; readonly frame: number; readonly journey: number; readonly speed: number }
  /** A hand is there and is heard by grains, until a seek. */
  | { readonly kind: 'scrub'; readonly frame: number; readonly journey: number; readonly isSilent: boolean }
  | { readonly kind: 'loop'; readonly range: FrameRange | null }
  | { readonly kind: 'noise'; readonly noise: OutputNoise | null }
  | { readonly kind: 'play'; readonly isPlaying: boolean }

/** Where the player is: told about twenty times a second, and whenever it goes otherwise than it did before. */
export type FromPlayer = {
  /** The next frame, when it leaves the player in seconds of the audio context, and how fast frames pass; 0: none does. */
  readonly frame: number
  readonly atSeconds: number
  readonly speed: number
  readonly journey: number
  readonly missedBlocks: number
  /** What was ridden since it was told last. */
  readonly ridden: readonly Ridden[]
  readonly meters: MeterReading
}

/**
 * What comes on the feed. `journey` counts the seeks: what was on its way before the last one is not played. `scrubbedTo`:
 * where the hand was that this was made for.
 */
export type Feed = { readonly chunk: Chunk; readonly journey: number; readonly scrubbedTo: number | null }

/** What a player is born with. */
export type PlayerOptions = { readonly shape: DeskShape; readonly asked: Asked }

const TELL_EVERY_BLOCKS = 18

/** The mixing desk in the browser's audio thread. */
class Player extends AudioWorkletProcessor {
  readonly #desk: MixingDesk
  #feed: MessagePort | null = null
  readonly #early: Feed[] = []
  #journey = 0
  #blocks = 0
  /** Frames that passed in the last block. */
  #passed = 0

  constructor({ processorOptions }: { readonly processorOptions: PlayerOptions }) {
    super()
    const { shape, asked } = processorOptions
    this.#desk = new MixingDesk(shape, asked)
    this.port.onmessage = ({ data }) => this.#hear(data as ToPlayer)
  }

  process(_inputs: unknown, [outputs]: readonly Float32Array[][]): boolean {
    const before = this.#desk.frame
    this.#desk.render(outputs!)
    this.#blocks += 1
    const passed = this.#desk.frame - before
    const isOtherwise = passed !== this.#passed
    this.#passed = passed
    if (isOtherwise || this.#blocks % TELL_EVERY_BLOCKS === 0)
      this.#tell(currentTime + outputs![0]!.length / sampleRate)
    return true
  }

  #tell(atSeconds: number): void {
    const { frame, missedBlocks, speed } = this.#desk
    const told: FromPlayer = {
      frame,
      atSeconds,
      speed: this.#passed === 0 ? 0 : speed,
      missedBlocks,
      journey: this.#journey,
      ridden: this.#desk.takeRidden(),
      meters: this.#desk.readMeters(),
    }
    this.port.postMessage(told)
    this.#feed?.postMessage(told)
  }

  #hear(message: ToPlayer): void {
    if (message.kind === 'ask') this.#desk.ask(message.asked)
    else if (message.kind === 'fader') this.#desk.moveFader(message.gainDb)
    else if (message.kind === 'loop') this.#desk.loop = message.range
    else if (message.kind === 'noise') this.#desk.playNoise(message.noise)
    else if (message.kind === 'play') this.#desk.isPlaying = message.isPlaying
    else if (message.kind === 'seek' || message.kind === 'scrub') {
      this.#journey = message.journey
      if (message.kind === 'seek') {
        this.#desk.seek(message.frame)
        this.#desk.speed = message.speed
      } else this.#desk.scrub(message.frame, message.isSilent)
      this.#passed = 0
      for (const early of this.#early.splice(0)) this.#take(early)
      this.#tell(currentTime)
    } else {
      this.#feed = message.port
      message.port.onmessage = ({ data }) => this.#take(data as Feed)
      this.#tell(currentTime)
    }
  }

  /** What comes ahead of its seek waits for it. */
  #take(feed: Feed): void {
    if (feed.journey === this.#journey) this.#desk.give(feed.chunk, feed.scrubbedTo)
    else if (feed.journey > this.#journey) this.#early.push(feed)
  }
}

registerProcessor('plimsoll-player', Player)

import { type FrameRange, framesPerHop, LAYOUTS } from '../../domain/index.ts'
import type { SoundShape, TitleHead } from '../../protocol/index.ts'
import { CHUNK_SECONDS } from '../listen/chunk.ts'
import { busLayout } from '../listen/heard.ts'
import type { Wishes } from '../listen/live-render.ts'
import type { FromLive, ToLive } from '../listen/live-worker.ts'
import type { Way } from '../listen/match.ts'
import type { Asked, DeskShape, OutputNoise } from '../listen/mixing-desk.ts'
import type { FromPlayer, PlayerOptions, ToPlayer } from '../listen/player-worklet.ts'
import type { LiveSound } from '../listen/sound-window.ts'
import { soundAddress } from './calls.ts'
import { possibleLayouts } from './matching.ts'
import { type Heard, HeardClock } from './picture/heard-clock.ts'

/** The two tracks that an upmix starts from, where they are not those of the file. */
export type Master = { readonly planNumber: number; readonly sound: SoundShape }

type Told = {
  readonly onFrame: (told: FromPlayer) => void
  readonly onMatched: (loudness: ReadonlyMap<string, number | null>) => void
  readonly onLost: (error: Error) => void
}

/** Plays a title through the browser's audio thread, fed by a thread that makes what is heard. */
export class Player {
  readonly #head: TitleHead
  readonly #titleId: string
  readonly #context: AudioContext
  readonly #node: AudioWorkletNode
  readonly #live: Worker
  readonly #shape: DeskShape
  readonly #turn = new SharedArrayBuffer(Int32Array.BYTES_PER_ELEMENT)
  readonly #clock: HeardClock
  #journey = 0
  #isScrubbed = false

  private constructor(head: TitleHead, titleId: string, context: AudioContext, asked: Asked, told: Told) {
    this.#head = head
    this.#titleId = titleId
    this.#context = context
    const { sampleRateHz } = head.ground
    const layouts = possibleLayouts(head)
    const roles = (layout: (typeof layouts)['source']) => (layout === undefined ? [] : LAYOUTS[layout])
    this.#shape = {
      sampleRateHz,
      hopFrames: framesPerHop(sampleRateHz),
      chunkFrames: CHUNK_SECONDS * sampleRateHz,
      layout: busLayout(layouts),
      signalRoles: { source: roles(layouts.source), upmix: roles(layouts.upmix), fitted: roles(layouts.fitted) },
    }
    this.#clock = new HeardClock(sampleRateHz)
    const processorOptions: PlayerOptions = { shape: this.#shape, asked }
    this.#node = new AudioWorkletNode(context, 'plimsoll-player', {
      numberOfInputs: 0,
      outputChannelCount: [asked.matrix.length],
      processorOptions,
    })
    this.#node.connect(context.destination)
    this.#node.port.onmessage = ({ data }) => {
      const where = data as FromPlayer
      if (where.journey !== this.#journey) return
      this.#clock.told(where)
      // The hand knows better where it is.
      if (!this.#isScrubbed) told.onFrame(where)
    }
    this.#live = new Worker('/live.js', { type: 'module' })
    this.#live.onmessage = ({ data }) => {
      const message = data as FromLive
      if (message.kind === 'failed') told.onLost(new Error(message.message))
      else told.onMatched(message.loudness)
    }
    const { port1, port2 } = new MessageChannel()
    this.#tell({ kind: 'feed', port: port1 }, [port1])
    this.#order({ kind: 'open', source: this.#sound(head.sound, 'source'), feed: port2, turn: this.#turn }, [port2])
  }

  /**
   * Opens the sound of a title. Only after a gesture of the user: browsers refuse it before.
   * @param asked for as many outputs as the device has, at most the channels of what can be heard
   */
  static async open(
    head: TitleHead,
    titleId: string,
    asked: (outputs: number) => Asked,
    told: Told,
  ): Promise<{ readonly player: Player; readonly outputs: number }> {
    const context = new AudioContext({ sampleRate: head.ground.sampleRateHz })
    await context.audioWorklet.addModule('/player.js')
    const most = context.destination.maxChannelCount
    const channels = LAYOUTS[busLayout(possibleLayouts(head))].length
    const outputs = most >= channels ? Math.max(2, channels) : 2
    context.destination.channelCount = outputs
    context.destination.channelInterpretation = 'discrete'
    return { player: new Player(head, titleId, context, asked(outputs), told), outputs }
  }

  ask(asked: Asked): void {
    this.#tell({ kind: 'ask', asked })
  }

  /** Moves the fader that a ride is recorded by. */
  moveFader(gainDb: number): void {
    this.#tell({ kind: 'fader', gainDb })
  }

  /** Makes what is heard anew; what is heard already goes on until it is there. */
  wish(wishes: Wishes, master: Master | null): void {
    this.#nextTurn()
    const sound = master && this.#sound(master.sound, `master&plan=${master.planNumber}`)
    this.#order({ kind: 'wish', wishes, master: sound })
  }

  async play(): Promise<void> {
    await this.#context.resume()
    this.#tell({ kind: 'play', isPlaying: true })
  }

  /** Plays noise from one loudspeaker instead of the programme; null: no more. */
  async playNoise(noise: OutputNoise | null): Promise<void> {
    await this.#context.resume()
    this.#tell({ kind: 'noise', noise })
  }

  pause(): void {
    this.#tell({ kind: 'play', isPlaying: false })
  }

  /** @param speed 1; 2 and 4 shuttle, negative ones backwards */
  seek(frame: number, speed: number): void {
    this.#isScrubbed = false
    this.#journey += 1
    this.#nextTurn()
    const message = { kind: 'seek', frame, speed, journey: this.#journey } as const
    this.#tell(message)
    this.#order(message)
  }

  /** A hand is at a place: short grains of it are heard, until it is gone somewhere. */
  scrub(frame: number, isSilent: boolean): void {
    if (!this.#isScrubbed) {
      void this.#context.resume()
      this.#isScrubbed = true
      this.#journey += 1
      this.#nextTurn()
    }
    this.#tell({ kind: 'scrub', frame, journey: this.#journey, isSilent })
    this.#order({ kind: 'scrub', frame, journey: this.#journey })
  }

  /** Plays round and round in a stretch without a gap, or on again (null). */
  loop(range: FrameRange | null): void {
    this.#nextTurn()
    this.#tell({ kind: 'loop', range })
    this.#order({ kind: 'loop', range })
  }

  /** What leaves the device now, by its own word on how late that is; null where nothing was played yet. */
  heard(): Heard | null {
    const { contextTime, performanceTime } = this.#context.getOutputTimestamp()
    if (contextTime === undefined || performanceTime === undefined || performanceTime === 0) return null
    return this.#clock.at(contextTime + (performance.now() - performanceTime) / 1000)
  }

  /** Measures how loud a stretch is in each of these ways; told to `onMatched`. */
  match(range: FrameRange, ways: readonly Way[]): void {
    this.#order({ kind: 'match', range, ways, shape: this.#shape })
  }

  close(): void {
    this.#live.terminate()
    void this.#context.close()
  }

  #sound({ encoding, channelCount }: SoundShape, of: string): LiveSound {
    const { layout, ground } = this.#head
    const { sampleRateHz, frameCount } = ground
    const format = { encoding, channelCount, sampleRateHz }
    return { title: { format, layout, frameCount }, address: soundAddress(this.#titleId, of) }
  }

  #nextTurn(): void {
    Atomics.add(new Int32Array(this.#turn), 0, 1)
  }

  #tell(message: ToPlayer, transfer: Transferable[] = []): void {
    this.#node.port.postMessage(message, { transfer })
  }

  #order(message: ToLive, transfer: Transferable[] = []): void {
    this.#live.postMessage(message, { transfer })
  }
}

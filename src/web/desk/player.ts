import { framesPerHop } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { planesOf } from '../listen/heard.ts'
import type { Asked } from '../listen/mixing-desk.ts'
import type { FromPlayer, PlayerOptions, ToPlayer } from '../listen/player-worklet.ts'
import { fetchSound } from './calls.ts'

/** Seconds that are fetched at a time, and how far ahead of what is heard. */
const CHUNK_SECONDS = 1
const AHEAD_CHUNKS = 4

/** Plays a title through the browser's audio thread, fed with the file's own samples as they are needed. */
export class Player {
  readonly #head: TitleHead
  readonly #context: AudioContext
  readonly #node: AudioWorkletNode
  readonly #chunkFrames: number
  #journey = 0
  #asked = new Set<number>()

  private constructor(head: TitleHead, context: AudioContext, node: AudioWorkletNode, chunkFrames: number) {
    this.#head = head
    this.#context = context
    this.#node = node
    this.#chunkFrames = chunkFrames
  }

  /**
   * Opens the sound of a title. Only after a gesture of the user: browsers refuse it before.
   * @param outputs as many as the device has, at most the programme's channels
   * @param onFrame told where the player is, about twenty times a second
   */
  static async open(
    head: TitleHead,
    asked: (outputs: number) => Asked,
    onFrame: (frame: number) => void,
    onLost: (error: Error) => void,
  ): Promise<{ readonly player: Player; readonly outputs: number }> {
    const { sampleRateHz } = head.ground
    const context = new AudioContext({ sampleRate: sampleRateHz })
    await context.audioWorklet.addModule('/player.js')
    const most = context.destination.maxChannelCount
    const outputs = head.sound !== null && most >= head.sound.channelCount ? Math.max(2, head.sound.channelCount) : 2
    context.destination.channelCount = outputs
    context.destination.channelInterpretation = 'discrete'
    const chunkFrames = CHUNK_SECONDS * sampleRateHz
    const processorOptions: PlayerOptions = {
      hopFrames: framesPerHop(sampleRateHz),
      chunkFrames,
      asked: asked(outputs),
    }
    const node = new AudioWorkletNode(context, 'plimsoll-player', {
      numberOfInputs: 0,
      outputChannelCount: [outputs],
      processorOptions,
    })
    node.connect(context.destination)
    const player = new Player(head, context, node, chunkFrames)
    node.port.onmessage = ({ data }) => {
      const { frame, journey } = data as FromPlayer
      if (journey !== player.#journey) return
      onFrame(frame)
      player.#feed(frame).catch(onLost)
    }
    return { player, outputs }
  }

  ask(asked: Asked): void {
    this.#tell({ kind: 'ask', asked })
  }

  async play(): Promise<void> {
    await this.#context.resume()
    this.#tell({ kind: 'play', isPlaying: true })
  }

  pause(): void {
    this.#tell({ kind: 'play', isPlaying: false })
  }

  seek(frame: number): void {
    this.#journey += 1
    this.#asked = new Set()
    this.#tell({ kind: 'seek', frame, journey: this.#journey })
    void this.#feed(frame).catch(() => {})
  }

  close(): void {
    void this.#context.close()
  }

  /** Fetches what will be heard next and is not here yet. */
  async #feed(frame: number): Promise<void> {
    const { frameCount } = this.#head.ground
    const { sound } = this.#head
    if (sound === null) return
    const journey = this.#journey
    const first = Math.floor(frame / this.#chunkFrames)
    const wanted = Array.from({ length: AHEAD_CHUNKS }, (_, i) => first + i).filter(
      (index) => index * this.#chunkFrames < frameCount && !this.#asked.has(index),
    )
    for (const index of wanted) this.#asked.add(index)
    for (const index of wanted) {
      const firstFrame = index * this.#chunkFrames
      const count = Math.min(this.#chunkFrames, frameCount - firstFrame)
      const bytes = await fetchSound(this.#head.id, firstFrame, count)
      if (journey !== this.#journey) return
      const planes = planesOf(bytes, sound.encoding, sound.channelCount)
      this.#tell({ kind: 'chunk', chunk: { firstFrame, planes }, journey }, planes)
    }
  }

  #tell(message: ToPlayer, planes: readonly Float32Array<ArrayBuffer>[] = []): void {
    this.#node.port.postMessage(message, { transfer: planes.map(({ buffer }) => buffer) })
  }
}

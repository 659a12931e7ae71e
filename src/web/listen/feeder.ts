import { type Cancellation, Cancelled, type FrameRange } from '../../domain/index.ts'
import { AHEAD_CHUNKS, CHUNK_SECONDS, type Chunk } from './chunk.ts'
import { chunksAhead } from './course.ts'
import type { LiveRender, Wishes } from './live-render.ts'
import type { Feed, FromPlayer } from './player-worklet.ts'
import type { SoundWindow } from './sound-window.ts'

/** Whole segments are upmixed this far ahead, so that none is heard before it is there. */
const SEGMENT_AHEAD_SECONDS = 8

/** What was given of a chunk in this turn: at once, or from whole segments, as a delivery is made. */
type Given = 'soon' | 'exact'

/**
 * Gives the player what it plays next: first what can be made at once, so that a change is heard, then the same from
 * whole segments, so that what is heard is what is delivered. One piece of work at a time; a new wish or a seek ends it.
 */
export class Feeder {
  readonly #source: SoundWindow
  readonly #turn: Int32Array
  readonly #give: (told: Feed) => void
  #render: LiveRender | null = null
  #master: SoundWindow
  #masterName = ''
  #frame = 0
  #journey = 0
  #direction = 1
  #loop: FrameRange | null = null
  #isScrubbed = false
  #given = new Map<number, Given>()
  /** Counts what makes earlier work worthless. */
  #age = 0
  #turnAtBegin = 0
  #isWorking = false

  /** @param turn its one number is changed by the page with every wish and every seek, before it tells of it */
  constructor(source: SoundWindow, turn: Int32Array, give: (told: Feed) => void) {
    this.#source = source
    this.#master = source
    this.#turn = turn
    this.#give = give
  }

  follow(render: LiveRender, master: SoundWindow): void {
    this.#render = render
    this.#master = master
  }

  /** Makes everything by other wishes from now on; `open` is asked where they start from other tracks. */
  async wish(
    wishes: Wishes,
    open: () => { readonly render: LiveRender; readonly master: SoundWindow },
    masterName: string,
  ): Promise<void> {
    if (masterName !== this.#masterName) {
      this.#masterName = masterName
      const { render, master } = open()
      this.follow(render, master)
    }
    this.#render?.wish(wishes)
    this.#begin()
    await this.#work()
  }

  /** Another place is played from: a new journey. */
  async seek(frame: number, journey: number, speed: number): Promise<void> {
    this.#frame = frame
    this.#direction = Math.sign(speed)
    this.#journey = journey
    this.#isScrubbed = false
    this.#begin()
    await this.#work()
  }

  /** A hand is there: what lies around it is made, what can be made at once only. A journey of its own, until a seek. */
  async scrub(frame: number, journey: number): Promise<void> {
    this.#frame = frame
    if (journey !== this.#journey) {
      this.#journey = journey
      this.#isScrubbed = true
      this.#begin()
    }
    const around = this.#aroundHand()
    for (const index of this.#given.keys()) if (!around.includes(index)) this.#given.delete(index)
    await this.#work()
  }

  /** The chunk under the hand, then its neighbours. */
  #aroundHand(): readonly number[] {
    const here = Math.floor(this.#frame / this.#chunkFrames)
    return [here, here + 1, here - 1].filter(
      (index) => index >= 0 && index * this.#chunkFrames < this.#source.frameCount,
    )
  }

  /** Plays round and round in a stretch from now on, or on again (null). */
  async loop(range: FrameRange | null): Promise<void> {
    this.#loop = range
    this.#begin()
    await this.#work()
  }

  /** The player tells where it is; what it says of a journey that is over no longer counts. */
  async at({ frame, journey }: FromPlayer): Promise<void> {
    if (journey !== this.#journey || this.#isScrubbed) return
    this.#frame = frame
    const ahead = new Set(this.#ahead(AHEAD_CHUNKS))
    // What is left behind in a loop comes again, and is given again.
    for (const index of this.#given.keys()) if (!ahead.has(index)) this.#given.delete(index)
    await this.#work()
  }

  #begin(): void {
    this.#turnAtBegin = Atomics.load(this.#turn, 0)
    this.#age += 1
    this.#given = new Map()
  }

  async #work(): Promise<void> {
    if (this.#isWorking) return
    this.#isWorking = true
    try {
      while (await this.#next());
    } finally {
      this.#isWorking = false
    }
  }

  /** Does the most pressing piece of work; false where nothing is left to do. */
  async #next(): Promise<boolean> {
    if (this.#isScrubbed) {
      const wanted = this.#aroundHand().find((index) => !this.#given.has(index))
      return wanted !== undefined && this.#make(wanted)
    }
    const ahead = this.#ahead(AHEAD_CHUNKS)
    const unheard = ahead.find((index) => !this.#given.has(index))
    if (unheard !== undefined) return this.#make(unheard)
    const exact = ahead.find((index) => this.#given.get(index) === 'soon' && this.#missing(index).length === 0)
    if (exact !== undefined) return this.#make(exact)
    return this.#upmixAhead()
  }

  #ahead(count: number): readonly number[] {
    const { frameCount } = this.#source
    const course = { frame: this.#frame, direction: this.#direction, loop: this.#loop, frameCount }
    return chunksAhead({ ...course, chunkFrames: this.#chunkFrames }, count)
  }

  get #chunkFrames(): number {
    return CHUNK_SECONDS * this.#source.format.sampleRateHz
  }

  #rangeOf(index: number): FrameRange {
    const startFrame = index * this.#chunkFrames
    return { startFrame, endFrame: Math.min(this.#source.frameCount, startFrame + this.#chunkFrames) }
  }

  #missing(index: number) {
    return this.#render?.missing(this.#rangeOf(index)) ?? []
  }

  /** Makes the chunks of a range for another purpose than playing them. */
  async make({ startFrame, endFrame }: FrameRange, take: (chunk: Chunk) => void): Promise<void> {
    const render = this.#render
    const end = Math.min(endFrame, this.#source.frameCount)
    for (let from = startFrame; from < end && render !== null; from += this.#chunkFrames) {
      const range = { startFrame: from, endFrame: Math.min(end, from + this.#chunkFrames) }
      await this.#bring(render, range)
      take(render.chunk(range))
      await breathe()
    }
  }

  async #bring(render: LiveRender, range: FrameRange): Promise<void> {
    const around = render.around(range)
    const reads = render.reads(around)
    await this.#source.bring(around.startFrame, around.endFrame)
    await this.#master.bring(reads.startFrame, reads.endFrame)
  }

  async #make(index: number): Promise<boolean> {
    const render = this.#render
    if (render === null) return false
    const age = this.#age
    const frame = this.#frame
    const range = this.#rangeOf(index)
    await this.#bring(render, range)
    if (age !== this.#age) return true
    const chunk = render.chunk(range)
    this.#given.set(index, chunk.isExact ? 'exact' : 'soon')
    const isUnderHand = this.#isScrubbed && frame >= range.startFrame && frame < range.endFrame
    this.#give({ chunk, journey: this.#journey, scrubbedTo: isUnderHand ? frame : null })
    await breathe()
    return true
  }

  /** Upmixes the next whole segment that will be heard; gives it up where something new is asked. */
  async #upmixAhead(): Promise<boolean> {
    const later = Math.ceil(SEGMENT_AHEAD_SECONDS / CHUNK_SECONDS)
    const ahead = this.#ahead(AHEAD_CHUNKS + later)
    const [segment] = ahead.flatMap((index) => this.#missing(index))
    const render = this.#render
    if (segment === undefined || render === null) return false
    const age = this.#age
    const reads = render.reads({ startFrame: segment.firstFrame, endFrame: segment.firstFrame + segment.frameCount })
    await this.#master.bring(reads.startFrame, reads.endFrame)
    if (age !== this.#age) return true
    try {
      render.upmix(segment, this.#untilNextTurn())
    } catch (error) {
      if (!(error instanceof Cancelled)) throw error
    }
    await breathe()
    return true
  }

  #untilNextTurn(): Cancellation {
    const turn = this.#turn
    const now = this.#turnAtBegin
    return {
      get aborted() {
        return Atomics.load(turn, 0) !== now
      },
    }
  }
}

/** Lets messages in between two pieces of work. */
function breathe(): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve))
}

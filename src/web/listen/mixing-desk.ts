import { dbToGain, type FrameRange, gainToDb, type LayoutName, type Role } from '../../domain/index.ts'
import { AHEAD_CHUNKS, type Chunk, SIGNALS, type SignalName, type SignalPlanes } from './chunk.ts'
import { chunksAhead } from './course.ts'
import { busPlanes, type Matrix, type RouteName, type Shares } from './heard.ts'
import { HeardMeter, type MeterReading } from './heard-meter.ts'
import { pointGainAt } from './point-gain.ts'
import { type Reach, ScrubGrains } from './scrub-grains.ts'
import { SmallSpeaker } from './small-speakers.ts'

/** What is asked of the sound; each change is heard within some milliseconds, without a click. */
export type Asked = {
  readonly shares: Shares
  readonly matrix: Matrix
  /** Through loudspeakers that are small. */
  readonly isSmall: boolean
  /** Linear; moves by a slew limit, so that it never jumps up. */
  readonly monitorGain: number
  readonly trimsDb: Float64Array | null
  /** What the trims have changed since the plan of that number was made: heard on top of it until there is another. */
  readonly pending: { readonly planNumber: number; readonly pointsDb: Float64Array } | null
  /** The fader is ridden: heard on top of trims and fit, and written down as it is heard. */
  readonly isRiding: boolean
}

/** The gain that the fader had in the middle of a 100 ms of the programme, as it was heard. */
export type Ridden = { readonly hop: number; readonly gainDb: number }

/** Noise that one output plays instead of the programme, over and over, before the monitor gain. */
export type OutputNoise = { readonly output: number; readonly samples: Float32Array }

/** What is played on, and in which pieces it comes. */
export type DeskShape = {
  readonly sampleRateHz: number
  readonly hopFrames: number
  readonly chunkFrames: number
  /** Of the bus; a signal with fewer channels plays on those of its own roles. */
  readonly layout: LayoutName
  readonly signalRoles: Readonly<Partial<Record<SignalName, readonly Role[]>>>
}

/** Time constant of the move from one matrix or choice to another, in seconds. */
const GLIDE_SECONDS = 0.0015
/** Closer than this a glide has arrived. */
const ARRIVED = 1e-7
/** Chunks of a loop that are kept: more than are given, so that none goes that counts as given. */
const KEPT_OF_LOOP = AHEAD_CHUNKS + 3
/** Chunks that are kept under a scrubbing hand: those around it, and what sounds still. */
const KEPT_OF_SCRUB = 8
/** A stretch that is made anew while it is heard takes over in this time, and so does the beginning of a loop from its end. */
const TAKE_OVER_SECONDS = 0.01
/** The monitor rises by this much a second at most; it falls at once. */
const RISE_DB_PER_SECOND = 40
const MONITOR_FLOOR = 1e-4
/** Time constant of the fader, in seconds; it rises by as much a second as the monitor. */
const FADER_SECONDS = 0.008

const ROUTES: readonly { readonly name: RouteName; readonly signal: SignalName }[] = [
  { name: 'source', signal: 'source' },
  { name: 'trimmed', signal: 'source' },
  { name: 'upmix', signal: 'upmix' },
  { name: 'fitted', signal: 'fitted' },
]

/** Plays chunks as they come: choice of what is heard, matrix, monitor. The same in a worklet and in a test. */
export class MixingDesk {
  /** The next frame that is heard. */
  frame = 0
  /** Played round and round, where the programme is heard forwards. */
  loop: FrameRange | null = null
  isPlaying = false
  /** Frames that pass for one that is heard, each of them as loud: 1, or to shuttle 2 and 4; negative: backwards. */
  speed = 1
  /** Blocks that were silent while something should have played, since the last seek. */
  missedBlocks = 0
  readonly #shape: DeskShape
  readonly #busSize: number
  /** The most that a gain may rise by from one frame to the next. */
  readonly #rise: number
  /** Where the planes of each signal meet the bus. */
  readonly #places: ReadonlyMap<SignalName, readonly number[]>
  readonly #chunks = new Map<number, Chunk>()
  /** What is faded from: as it was before it was made anew, or what follows a loop, so many frames later. */
  #before: { readonly chunk: Chunk | null; readonly framesLater: number } | null = null
  /** Of what takes over from `#before`. */
  #takenOver = 1
  #asked: Asked
  #monitor = 0
  #small = 0
  readonly #smallSpeakers: readonly SmallSpeaker[]
  readonly #shares: Record<RouteName, number> = { source: 0, trimmed: 0, upmix: 0, fitted: 0 }
  #matrix: number[][]
  #hasBegun = false
  /** Where the fader stands, where it is, and the linear gain that it gives; only while it is ridden. */
  #faderDb = 0
  #faderGain = 1
  #ridden: Ridden[] = []
  #noise: OutputNoise | null = null
  /** Only while a hand scrubs. */
  #scrub: ScrubGrains | null = null
  #noiseAt = 0
  /** What each output gets in a frame, ahead of the monitor; and the meters of it. */
  #heard = new Float64Array(0)
  #meter: HeardMeter

  constructor(shape: DeskShape, asked: Asked) {
    this.#shape = shape
    const planes = busPlanes(shape.layout)
    this.#busSize = planes.length
    this.#rise = 10 ** (RISE_DB_PER_SECOND / 20 / shape.sampleRateHz)
    this.#places = new Map(
      SIGNALS.map((signal) => [
        signal,
        [...(shape.signalRoles[signal] ?? []), 'S' as const].map((one) => planes.indexOf(one)),
      ]),
    )
    this.#asked = asked
    this.#smallSpeakers = [0, 1].map(() => new SmallSpeaker(shape.sampleRateHz))
    this.#matrix = asked.matrix.map((row) => row.map(() => 0))
    this.#meter = this.#newMeter()
  }

  ask(asked: Asked): void {
    if (asked.isRiding && !this.#asked.isRiding) this.#faderGain = dbToGain(this.#faderDb)
    this.#asked = asked
  }

  /** Plays noise instead of the programme, or the programme again (null); either rises from silence, as at the first start. */
  playNoise(noise: OutputNoise | null): void {
    this.#noise = noise
    this.#noiseAt = 0
    this.#monitor = 0
  }

  /** What the meters say, since the last seek. */
  readMeters(): MeterReading {
    return this.#meter.read()
  }

  /** Moves the fader; before the ride begins it is set at once. */
  moveFader(gainDb: number): void {
    this.#faderDb = gainDb
  }

  /** What was ridden since this was asked last. */
  takeRidden(): readonly Ridden[] {
    return this.#ridden.splice(0)
  }

  /** @param scrubbedTo where the hand was that this was made for */
  give(chunk: Chunk, scrubbedTo: number | null = null): void {
    const index = this.#indexOf(chunk.firstFrame)
    const known = this.#chunks.get(index)
    if (this.#scrub !== null) {
      if (scrubbedTo !== null) this.#scrub.came(scrubbedTo)
      // What came last is let go of last.
      this.#chunks.delete(index)
    } else if (known !== undefined && index === this.#indexOf(this.frame)) {
      this.#fadeFrom({ chunk: known, framesLater: 0 })
    }
    this.#chunks.set(index, chunk)
  }

  /** A hand is at this place and is heard there, by short grains, until it is gone somewhere. */
  scrub(frame: number, isSilent: boolean): void {
    if (this.#scrub === null) {
      this.#fadeFrom(null)
      this.#hasBegun = false
      this.#meter = this.#newMeter()
    }
    this.#scrub ??= new ScrubGrains(this.#shape.sampleRateHz)
    this.frame = frame
    if (!isSilent) this.#scrub.goTo(frame)
  }

  seek(frame: number): void {
    this.frame = frame
    this.#scrub = null
    this.#chunks.clear()
    this.#fadeFrom(null)
    this.missedBlocks = 0
    this.#hasBegun = false
    this.#meter = this.#newMeter()
  }

  /** Fills the outputs with the next block; silence where nothing plays or nothing has come yet. */
  render(outputs: readonly Float32Array[]): void {
    for (const output of outputs) output.fill(0)
    this.#forget()
    const { sampleRateHz } = this.#shape
    const step = 1 - Math.exp(-1 / (GLIDE_SECONDS * sampleRateHz))
    const bus = new Float64Array(this.#busSize)
    for (let i = 0; i < outputs[0]!.length; i++) {
      this.#glide(step)
      if (this.#noise !== null) this.#leaveNoise(this.#noise, outputs, i)
      if (this.#noise !== null) continue
      if (this.#scrub !== null) this.#addGrains(bus, this.#scrub)
      else if (!this.isPlaying) continue
      else if (!this.#pass(bus)) return
      this.#leave(bus, outputs, i)
    }
  }

  /** Moves the gain of the fader by a frame: down in a glide, up no faster than the monitor; writes it down. */
  #ride(): void {
    const { sampleRateHz, hopFrames } = this.#shape
    const wanted = dbToGain(this.#faderDb)
    const glided = towards(this.#faderGain, wanted, 1 / (FADER_SECONDS * sampleRateHz))
    this.#faderGain = Math.min(glided, this.#faderGain * this.#rise)
    const middle = this.frame / hopFrames - 0.5
    if (Number.isInteger(middle) && this.speed === 1) {
      this.#ridden.push({ hop: middle, gainDb: gainToDb(this.#faderGain) })
    }
  }

  /** Fills the bus with the frames that pass now; false where they have not come. */
  #pass(bus: Float64Array): boolean {
    bus.fill(0)
    const count = Math.abs(this.speed)
    for (let passed = 0; passed < count; passed++) {
      this.#goBack()
      const chunk = this.#chunks.get(this.#indexOf(this.frame))
      if (chunk === undefined || this.frame < 0 || this.frame >= chunk.firstFrame + chunk.frameCount) {
        if (this.#hasBegun && chunk === undefined && this.frame >= 0) this.missedBlocks += 1
        return false
      }
      this.#hasBegun = true
      if (this.#asked.isRiding) this.#ride()
      this.#addToBus(bus, chunk, 1 / count)
      this.frame += Math.sign(this.speed)
    }
    return true
  }

  /** At the end of a loop: to its beginning, which takes over from what follows. */
  #goBack(): void {
    const { loop } = this
    if (loop === null || this.speed < 0 || this.frame < loop.endFrame) return
    // From outside of the loop: its beginning may have to be made first.
    if (this.frame > loop.endFrame) this.#hasBegun = false
    this.#fadeFrom({ chunk: null, framesLater: this.frame - loop.startFrame })
    this.frame = loop.startFrame
  }

  #fadeFrom(before: { readonly chunk: Chunk | null; readonly framesLater: number } | null): void {
    this.#before = before
    this.#takenOver = before === null ? 1 : 0
  }

  #addGrains(bus: Float64Array, scrub: ScrubGrains): void {
    bus.fill(0)
    for (const { frame, weight } of scrub.next(this.#reach)) {
      const chunk = weight === 0 ? undefined : this.#chunks.get(this.#indexOf(frame))
      if (chunk !== undefined && frame < chunk.firstFrame + chunk.frameCount) this.#addChunk(bus, chunk, frame, weight)
    }
  }

  readonly #reach: Reach = (frame) => {
    const index = this.#indexOf(frame)
    const chunk = this.#chunks.get(index)
    if (chunk === undefined || frame >= chunk.firstFrame + chunk.frameCount) return null
    return {
      first: this.#chunks.has(index - 1) ? -Infinity : chunk.firstFrame,
      end: this.#chunks.has(index + 1) ? Infinity : chunk.firstFrame + chunk.frameCount,
    }
  }

  #indexOf(frame: number): number {
    return Math.floor(frame / this.#shape.chunkFrames)
  }

  /** The sum of all routes on the bus, in what has taken over and in what it takes over from. */
  #addToBus(bus: Float64Array, chunk: Chunk, weight: number): void {
    this.#addChunk(bus, chunk, this.frame, weight * Math.min(1, this.#takenOver))
    if (this.#before === null) return
    const frame = this.frame + this.#before.framesLater
    const before = this.#before.chunk ?? this.#chunks.get(this.#indexOf(frame))
    if (before !== undefined && frame < before.firstFrame + before.frameCount) {
      this.#addChunk(bus, before, frame, weight * (1 - this.#takenOver))
    }
    this.#takenOver += 1 / (TAKE_OVER_SECONDS * this.#shape.sampleRateHz)
    if (this.#takenOver >= 1) this.#fadeFrom(null)
  }

  #addChunk(bus: Float64Array, chunk: Chunk, frame: number, weight: number): void {
    for (const { name, signal } of ROUTES) {
      const share = this.#shares[name]
      const planes = chunk.signals[signal]
      if (share === 0 || planes === undefined) continue
      const gain = weight * share * this.#gainOf(name, chunk, frame)
      this.#addPlanes(bus, planes, signal, frame - chunk.firstFrame, gain)
    }
  }

  #gainOf(name: RouteName, { planNumber }: Chunk, frame: number): number {
    const { trimsDb, pending, isRiding } = this.#asked
    const { hopFrames } = this.#shape
    const fader = isRiding ? this.#faderGain : 1
    if (name === 'trimmed') return fader * pointGainAt(trimsDb, frame, hopFrames)
    if (name !== 'fitted') return 1
    const isPending = pending !== null && pending.planNumber === planNumber
    return isPending ? fader * pointGainAt(pending.pointsDb, frame, hopFrames) : fader
  }

  #addPlanes(bus: Float64Array, planes: SignalPlanes, signal: SignalName, at: number, gain: number): void {
    const places = this.#places.get(signal)!
    for (let channel = 0; channel < planes.length; channel++) {
      const plane = places[channel]!
      if (plane >= 0) bus[plane]! += planes[channel]![at]! * gain
    }
  }

  #leave(bus: Float64Array, outputs: readonly Float32Array[], i: number): void {
    for (const [output, row] of this.#matrix.entries()) {
      const into = outputs[output]
      if (into === undefined) break
      let sum = 0
      for (let plane = 0; plane < row.length; plane++) sum += bus[plane]! * row[plane]!
      const small = this.#smallSpeakers[output]
      if (small !== undefined && this.#small > 0) sum += (small.next(sum) - sum) * this.#small
      this.#heard[output] = sum
      into[i] = sum * this.#monitor
    }
    // Frames that are left out, or backwards, or grains, are no programme.
    if (this.speed === 1 && this.#scrub === null) this.#meter.add(this.#heard)
  }

  #leaveNoise({ output, samples }: OutputNoise, outputs: readonly Float32Array[], i: number): void {
    outputs[output]![i] = samples[this.#noiseAt]! * this.#monitor
    this.#noiseAt = (this.#noiseAt + 1) % samples.length
  }

  #newMeter(): HeardMeter {
    const { sampleRateHz, layout } = this.#shape
    const outputs = this.#matrix.length
    this.#heard = new Float64Array(outputs)
    return new HeardMeter(sampleRateHz, layout, outputs)
  }

  #glide(step: number): void {
    const { shares, matrix, monitorGain, isSmall } = this.#asked
    this.#monitor =
      monitorGain < this.#monitor
        ? towards(this.#monitor, monitorGain, step)
        : Math.min(monitorGain, Math.max(MONITOR_FLOOR, this.#monitor) * this.#rise)
    this.#small = towards(this.#small, isSmall ? 1 : 0, step)
    for (const { name } of ROUTES) this.#shares[name] = towards(this.#shares[name], shares[name], step)
    for (const [output, row] of this.#matrix.entries()) {
      const wanted = matrix[output]!
      for (let plane = 0; plane < row.length; plane++) row[plane] = towards(row[plane]!, wanted[plane]!, step)
    }
  }

  /** Lets go of what lies behind, and does not come again soon. */
  #forget(): void {
    if (this.#scrub !== null) {
      const here = this.#indexOf(this.frame)
      for (const index of this.#chunks.keys()) {
        if (this.#chunks.size <= KEPT_OF_SCRUB) return
        if (Math.abs(index - here) > 1) this.#chunks.delete(index)
      }
      return
    }
    if (this.#before !== null) return
    const { frame, loop, speed: direction } = this
    const now = this.#indexOf(frame)
    const course = { ...this.#shape, frame, loop, direction, frameCount: Infinity }
    const soon = loop === null ? [] : chunksAhead(course, KEPT_OF_LOOP)
    const isBehind = (index: number) => (direction > 0 ? index < now : index > now)
    const isOver = loop === null || direction < 0 ? isBehind : (index: number) => !soon.includes(index)
    for (const index of this.#chunks.keys()) if (isOver(index)) this.#chunks.delete(index)
  }
}

/** One step of a glide, which ends exactly where it was to go. */
function towards(value: number, wanted: number, step: number): number {
  const next = value + (wanted - value) * step
  return Math.abs(wanted - next) < ARRIVED ? wanted : next
}

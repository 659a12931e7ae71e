import { dbToGain, gainToDb, type LayoutName, type Role } from '../../domain/index.ts'
import { type Chunk, SIGNALS, type SignalName, type SignalPlanes } from './chunk.ts'
import { busPlanes, type Matrix, type RouteName, type Shares } from './heard.ts'
import { HeardMeter, type MeterReading } from './heard-meter.ts'
import { pointGainAt } from './point-gain.ts'
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
/** A stretch that is made anew while it is heard takes over in this time. */
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
  #before: Chunk | null = null
  /** Of the chunk that takes over from `#before`. */
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

  give(chunk: Chunk): void {
    const index = this.#indexOf(chunk.firstFrame)
    const known = this.#chunks.get(index)
    if (known !== undefined && index === this.#indexOf(this.frame)) {
      this.#before = known
      this.#takenOver = 0
    }
    this.#chunks.set(index, chunk)
  }

  seek(frame: number): void {
    this.frame = frame
    this.#chunks.clear()
    this.#before = null
    this.#takenOver = 1
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
      if (!this.isPlaying || this.#noise !== null) continue
      if (!this.#pass(bus)) return
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

  #indexOf(frame: number): number {
    return Math.floor(frame / this.#shape.chunkFrames)
  }

  /** The sum of all routes on the bus, in what has taken over and in what it takes over from. */
  #addToBus(bus: Float64Array, chunk: Chunk, weight: number): void {
    this.#addChunk(bus, chunk, weight * Math.min(1, this.#takenOver))
    if (this.#takenOver >= 1) return
    if (this.#before !== null) this.#addChunk(bus, this.#before, weight * (1 - this.#takenOver))
    this.#takenOver += 1 / (TAKE_OVER_SECONDS * this.#shape.sampleRateHz)
    if (this.#takenOver >= 1) this.#before = null
  }

  #addChunk(bus: Float64Array, chunk: Chunk, weight: number): void {
    for (const { name, signal } of ROUTES) {
      const share = this.#shares[name]
      const planes = chunk.signals[signal]
      if (share === 0 || planes === undefined) continue
      this.#addPlanes(bus, planes, signal, this.frame - chunk.firstFrame, weight * share * this.#gainOf(name, chunk))
    }
  }

  #gainOf(name: RouteName, { planNumber }: Chunk): number {
    const { trimsDb, pending, isRiding } = this.#asked
    const { hopFrames } = this.#shape
    const fader = isRiding ? this.#faderGain : 1
    if (name === 'trimmed') return fader * pointGainAt(trimsDb, this.frame, hopFrames)
    if (name !== 'fitted') return 1
    const isPending = pending !== null && pending.planNumber === planNumber
    return isPending ? fader * pointGainAt(pending.pointsDb, this.frame, hopFrames) : fader
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
    // Frames that are left out, or backwards, are no programme.
    if (this.speed === 1) this.#meter.add(this.#heard)
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

  /** Lets go of what lies behind. */
  #forget(): void {
    const now = this.#indexOf(this.frame)
    const isBehind = (index: number) => (this.speed > 0 ? index < now : index > now)
    for (const index of this.#chunks.keys()) if (isBehind(index)) this.#chunks.delete(index)
  }
}

/** One step of a glide, which ends exactly where it was to go. */
function towards(value: number, wanted: number, step: number): number {
  const next = value + (wanted - value) * step
  return Math.abs(wanted - next) < ARRIVED ? wanted : next
}

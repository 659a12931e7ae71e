import {
  type AudioSource,
  assert,
  bytesPerFrame,
  type Cancellation,
  Cancelled,
  dbToGain,
  LAYOUTS,
  type PcmFormat,
  type Segment,
} from '../../domain/index.ts'
import {
  type DitherRule,
  decodeChannel,
  highestOfSum,
  type Kernels,
  type LinkedSignal,
  needsWidePlane,
  type Plane,
  packSum,
  packWords,
  QuarterTurn,
  quantise,
  sumPlanes,
  takeGain,
  takePlane,
  takeWordLine,
  wordLineFrames,
  writeGain,
} from '../../dsp/index.ts'
import { type FoldLaw, type FoldSide, type FoldSignal, type FoldTarget, foldLaw } from './fold-law.ts'

export type FoldJob = {
  readonly source: AudioSource
  readonly to: FoldTarget
  readonly gainDb: number
  readonly encoding: 'int16' | 'int24' | 'float32'
  /** Two 32-bit numbers of the source's hash, so that the same source gets the same dither. */
  readonly ditherSeed: readonly [number, number]
}

export type FoldedSegment = {
  /** Interleaved: L R of Lo/Ro and Lt/Rt, else one channel. */
  readonly words: Uint8Array
  /** Samples that did not fit the word and were held at its end; always 0 in float32, where everything fits. */
  readonly overs: number
  /** The highest |sample| after the gain and before the words, linear. */
  readonly peak: number
}

/** Frames that are folded at once, a multiple of four. */
const BLOCK_FRAMES = 65536
const DECODE_BYTES = 1 << 19

/**
 * Folds one segment down: Lo/Ro, Lt/Rt or mono, without normalisation, the LFE left out. Sample-aligned with the
 * source; the bytes depend on the job and the frames alone, on any grid of segments that begin at multiples of four.
 * 24-bit words are rounded half up. 16-bit words are dithered, but for Lo/Ro of a 16-bit source at 0 dB: that is the
 * stereo which a delivery of this source carries. Takes its memory from the arena and gives it back; refuses nothing.
 * @param into takes the words where it is given: as many bytes as they are
 * @source ITU-R BS.775-4 Table 2 (Lo/Ro, mono); ATSC A/52 7.8.2 (Lt/Rt)
 */
export function foldSegment(
  kernels: Kernels,
  job: FoldJob,
  segment: Segment,
  cancellation?: Cancellation,
  into?: Uint8Array,
): FoldedSegment {
  assert(segment.firstFrame % 4 === 0, 'a segment begins at a multiple of four frames')
  const mark = kernels.arena.mark()
  try {
    return fold(kernels, job, segment, cancellation, into)
  } finally {
    kernels.arena.release(mark)
  }
}

function fold(
  kernels: Kernels,
  job: FoldJob,
  segment: Segment,
  cancellation: Cancellation | undefined,
  into: Uint8Array | undefined,
): FoldedSegment {
  const law = foldLaw(job.source.layout, job.to)
  const blocks = new Blocks(kernels, job.source, law)
  const writer = new Writer(kernels, job, law, segment, into)
  const gain = dbToGain(job.gainDb)
  let overs = 0
  let peak = 0
  for (let offset = 0; offset < segment.frameCount; offset += BLOCK_FRAMES) {
    if (cancellation?.aborted) throw new Cancelled()
    const frameCount = Math.min(BLOCK_FRAMES, segment.frameCount - offset)
    blocks.load(segment.firstFrame + offset, frameCount)
    for (const [channel, side] of law.sides.entries()) {
      const sum = blocks.sum(side, frameCount)
      peak = Math.max(peak, highestOfSum(kernels, sum, frameCount) * gain)
      overs += writer.write(sum, channel, offset, frameCount)
    }
    writer.flush(offset, frameCount)
  }
  return { words: writer.bytes, overs, peak }
}

/** One block of a source after the other, and the sums that are made of it, in kernel memory. */
class Blocks {
  readonly #kernels: Kernels
  readonly #source: AudioSource
  readonly #law: FoldLaw
  readonly #turner: QuarterTurn | null
  readonly #reach: number
  readonly #planes = new Map<FoldSignal, Plane>()
  readonly #sum: Plane

  constructor(kernels: Kernels, source: AudioSource, law: FoldLaw) {
    this.#kernels = kernels
    this.#source = source
    this.#law = law
    this.#turner = law.turned.length > 0 ? new QuarterTurn(kernels, source.format.sampleRateHz, BLOCK_FRAMES) : null
    this.#reach = this.#turner?.reachFrames ?? 0
    const longest = BLOCK_FRAMES + 2 * this.#reach
    const isWide = needsWidePlane(source.format.encoding)
    for (const role of LAYOUTS[source.layout]) {
      if (role !== 'LFE') this.#planes.set(role, takePlane(kernels, longest, isWide))
    }
    this.#sum = takePlane(kernels, longest, true)
  }

  /** Decodes a block with what is heard around it and, where the law asks for it, turns its surrounds. */
  load(firstFrame: number, frameCount: number): void {
    const around = frameCount + 2 * this.#reach
    decodeAround(this.#kernels, this.#source, this.#planes, firstFrame - this.#reach, around)
    if (this.#turner === null) return
    sumPlanes(
      this.#kernels,
      this.#weighted(this.#law.turned.map((signal) => ({ signal, weight: 1 }))),
      0,
      around,
      this.#sum,
    )
    this.#planes.set('S', this.#turner.turn(this.#sum, frameCount))
  }

  /** One channel of the fold-down; its memory serves the next one too. */
  sum(side: FoldSide, frameCount: number): Plane {
    sumPlanes(this.#kernels, this.#weighted(side.terms), this.#reach, frameCount, this.#sum)
    return this.#sum
  }

  #weighted(terms: FoldSide['terms']): LinkedSignal {
    return terms.map(({ signal, weight }) => ({ plane: this.#planes.get(signal) as Plane, weight }))
  }
}

/** Decodes frames from `firstFrame` on into the start of each plane; outside the programme there is silence. */
function decodeAround(
  kernels: Kernels,
  source: AudioSource,
  planes: ReadonlyMap<FoldSignal, Plane>,
  firstFrame: number,
  frameCount: number,
): void {
  const { format } = source
  const start = Math.max(0, firstFrame)
  const end = Math.min(source.frameCount, firstFrame + frameCount)
  for (const plane of planes.values()) {
    silence(kernels, plane, 0, start - firstFrame)
    silence(kernels, plane, end - firstFrame, frameCount)
  }
  const mark = kernels.arena.mark()
  const frameBytes = bytesPerFrame(format)
  const blockFrames = Math.floor(DECODE_BYTES / frameBytes)
  const address = kernels.arena.take(DECODE_BYTES)
  for (let frame = start; frame < end; frame += blockFrames) {
    const count = Math.min(blockFrames, end - frame)
    source.readInto(new Uint8Array(kernels.memory.buffer, address, count * frameBytes), frame, count)
    LAYOUTS[source.layout].forEach((role, channel) => {
      const plane = planes.get(role)
      if (plane === undefined) return
      decodeChannel(kernels, { address, format, frameCount: count }, channel, plane, frame - firstFrame)
    })
  }
  kernels.arena.release(mark)
}

function silence(kernels: Kernels, plane: Plane, from: number, to: number): void {
  const Samples = plane.isWide ? Float64Array : Float32Array
  new Samples(kernels.memory.buffer, plane.address, to).fill(0, from)
}

/** Makes the bytes of a segment from sums of samples, a block after the other. */
class Writer {
  readonly bytes: Uint8Array
  readonly #kernels: Kernels
  readonly #job: FoldJob
  readonly #segment: Segment
  readonly #law: FoldLaw
  readonly #format: PcmFormat
  readonly #pcm: number
  readonly #words: number
  readonly #gain: number

  constructor(kernels: Kernels, job: FoldJob, law: FoldLaw, segment: Segment, into: Uint8Array | undefined) {
    this.#kernels = kernels
    this.#job = job
    this.#law = law
    this.#segment = segment
    const { sampleRateHz } = job.source.format
    this.#format = { encoding: job.encoding, channelCount: law.sides.length, sampleRateHz }
    this.bytes = into ?? new Uint8Array(segment.frameCount * bytesPerFrame(this.#format))
    this.#pcm = kernels.arena.take(BLOCK_FRAMES * bytesPerFrame(this.#format))
    this.#words = takeWordLine(kernels)
    const lineFrames = wordLineFrames(0, BLOCK_FRAMES)
    this.#gain = takeGain(kernels, lineFrames)
    const plan = { staticGainDb: job.gainDb, rideDb: null, ceilingDbtp: null }
    writeGain(kernels, plan, sampleRateHz, { firstFrame: 0, frameCount: lineFrames }, this.#gain)
  }

  /** Writes one channel of a block; gives back how many samples did not fit the word. */
  write(sum: Plane, channel: number, offset: number, frameCount: number): number {
    const { encoding, ditherSeed, gainDb } = this.#job
    if (encoding === 'float32') {
      packSum(this.#kernels, sum, frameCount, dbToGain(gainDb), this.#format, channel, this.#pcm)
      return 0
    }
    const { role } = this.#law.sides[channel] as FoldSide
    let overs = 0
    for (let done = 0; done < frameCount; ) {
      const frame = this.#segment.firstFrame + offset + done
      const count = wordLineFrames(frame, frameCount - done)
      const line = { plane: sum, planeFrame: done, gain: this.#gain, role, frame, frameCount: count }
      overs += quantise(this.#kernels, line, encoding, ditherRule(this.#job), ditherSeed, this.#words)
      packWords(
        this.#kernels,
        this.#words,
        count,
        this.#format,
        channel,
        this.#pcm + done * bytesPerFrame(this.#format),
      )
      done += count
    }
    return overs
  }

  /** Puts a block whose channels are all written into the bytes of the segment. */
  flush(offset: number, frameCount: number): void {
    const frameBytes = bytesPerFrame(this.#format)
    const block = new Uint8Array(this.#kernels.memory.buffer, this.#pcm, frameCount * frameBytes)
    this.bytes.set(block, offset * frameBytes)
  }
}

/** Dither only where words get shorter; the Lo/Ro of 16-bit words as they are is the stereo of their delivery. */
function ditherRule({ source, to, gainDb, encoding }: FoldJob): DitherRule {
  if (encoding === 'int24') return 'never'
  return to === 'lo-ro' && gainDb === 0 && source.format.encoding === 'int16' ? 'never' : 'always'
}

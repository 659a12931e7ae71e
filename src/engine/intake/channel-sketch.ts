import { type AudioSource, BYTES_PER_SAMPLE, bytesPerFrame, type SampleEncoding } from '../../domain/index.ts'

/**
 * The LFE channel carries 20 to 120 Hz, so above this corner little of it is left (25 dB less at 120 Hz with the
 * filter below) while every main channel has most of speech and music there.
 * @source ITU-R BS.775-4, low-frequency effects channel: 20 to 120 Hz
 */
export const LOW_BAND_END_HZ = 250

/** Blocks looked at, spread evenly over the programme, and their length. */
const BLOCK_COUNT = 48
const BLOCK_SECONDS = 0.4
/** Beginning of each block in which the filters settle and nothing is counted. */
const SETTLING_SECONDS = 0.05

/** What a few blocks of a programme tell about its channels. Energies are mean squares, full scale = 1. */
export type ChannelSketch = {
  readonly energies: readonly number[]
  /** Energy above `LOW_BAND_END_HZ`. */
  readonly highEnergies: readonly number[]
  /** One per block: correlation at lag 0 of the channel pairs 0-1, 0-2 and 1-2, or null where one of them is silent. */
  readonly frontCorrelations: readonly (readonly [number, number, number] | null)[]
}

/** Below -70 dBFS a block of a front channel says nothing about the stereo image. */
const QUIET_ENERGY = 1e-7

const FRONT_PAIRS = [
  [0, 1],
  [0, 2],
  [1, 2],
] as const

/** Reads a few bounded blocks of a programme of at least three channels, in its own channel order. */
export function sketchChannels(source: AudioSource): ChannelSketch {
  const { channelCount, sampleRateHz } = source.format
  const blockFrames = Math.min(source.frameCount, Math.round(BLOCK_SECONDS * sampleRateHz))
  const settlingFrames = Math.min(blockFrames - 1, Math.round(SETTLING_SECONDS * sampleRateHz))
  const blockCount = Math.max(1, Math.min(BLOCK_COUNT, Math.floor(source.frameCount / blockFrames)))
  const countedFrames = blockCount * (blockFrames - settlingFrames)

  const highPass = new HighPass(LOW_BAND_END_HZ, sampleRateHz)
  const bytes = new Uint8Array(blockFrames * bytesPerFrame(source.format))
  const planes = Array.from({ length: channelCount }, () => new Float64Array(blockFrames))
  const energies = new Array<number>(channelCount).fill(0)
  const highEnergies = new Array<number>(channelCount).fill(0)
  const frontCorrelations: ChannelSketch['frontCorrelations'][number][] = []
  for (let block = 0; block < blockCount; block++) {
    const firstFrame = Math.floor(((source.frameCount - blockFrames) * (block + 0.5)) / blockCount)
    source.readInto(bytes, firstFrame, blockFrames)
    decodeInto(planes, bytes, source.format.encoding)
    planes.forEach((plane, channel) => {
      highPass.reset()
      for (let frame = 0; frame < blockFrames; frame++) {
        const sample = plane[frame] as number
        const high = highPass.next(sample)
        if (frame < settlingFrames) continue
        energies[channel] = (energies[channel] as number) + (sample * sample) / countedFrames
        highEnergies[channel] = (highEnergies[channel] as number) + (high * high) / countedFrames
      }
    })
    frontCorrelations.push(correlateFront(planes))
  }
  return { energies, highEnergies, frontCorrelations }
}

function correlateFront(planes: readonly Float64Array[]): readonly [number, number, number] | null {
  const powers = planes.slice(0, 3).map((plane) => meanProduct(plane, plane))
  if (powers.some((power) => power < QUIET_ENERGY)) return null
  const [r01, r02, r12] = FRONT_PAIRS.map(([a, b]) => {
    const product = meanProduct(planes[a] as Float64Array, planes[b] as Float64Array)
    return product / Math.sqrt((powers[a] as number) * (powers[b] as number))
  }) as [number, number, number]
  return [r01, r02, r12]
}

function meanProduct(a: Float64Array, b: Float64Array): number {
  let sum = 0
  for (let frame = 0; frame < a.length; frame++) sum += (a[frame] as number) * (b[frame] as number)
  return sum / a.length
}

/** Two Butterworth high passes of second order in a row, by the bilinear transform. */
class HighPass {
  readonly #gain: number
  readonly #a1: number
  readonly #a2: number
  readonly #state = new Float64Array(4)

  constructor(cornerHz: number, sampleRateHz: number) {
    const x = (Math.PI * cornerHz) / sampleRateHz
    // The tangent by its series: x is below 0.025 here, and the error below 1e-12.
    const k = x + (x * x * x) / 3 + (2 * x * x * x * x * x) / 15
    this.#gain = 1 / (1 + Math.SQRT2 * k + k * k)
    this.#a1 = 2 * (k * k - 1) * this.#gain
    this.#a2 = (1 - Math.SQRT2 * k + k * k) * this.#gain
  }

  reset(): void {
    this.#state.fill(0)
  }

  next(sample: number): number {
    return this.#section(this.#section(sample, 0), 2)
  }

  /** One section in transposed direct form II. */
  #section(x: number, at: number): number {
    const state = this.#state
    const y = this.#gain * x + (state[at] as number)
    state[at] = -2 * this.#gain * x - this.#a1 * y + (state[at + 1] as number)
    state[at + 1] = this.#gain * x - this.#a2 * y
    return y
  }
}

/** Splits interleaved PCM into planes; NaN and infinite samples count as 0. */
function decodeInto(planes: readonly Float64Array[], bytes: Uint8Array, encoding: SampleEncoding): void {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length)
  const sampleBytes = BYTES_PER_SAMPLE[encoding]
  const read = readerOf(view, encoding)
  planes.forEach((plane, channel) => {
    let at = channel * sampleBytes
    for (let frame = 0; frame < plane.length; frame++) {
      const sample = read(at)
      plane[frame] = Number.isFinite(sample) ? sample : 0
      at += planes.length * sampleBytes
    }
  })
}

function readerOf(view: DataView, encoding: SampleEncoding): (byteOffset: number) => number {
  switch (encoding) {
    case 'int16':
      return (at) => view.getInt16(at, true) / 32768
    case 'int24':
      return (at) => (view.getInt16(at + 1, true) * 256 + view.getUint8(at)) / 8388608
    case 'int32':
      return (at) => view.getInt32(at, true) / 2147483648
    case 'float32':
      return (at) => view.getFloat32(at, true)
    case 'float64':
      return (at) => view.getFloat64(at, true)
  }
}

import {
  type AudioSource,
  type Cancellation,
  Cancelled,
  framesPerHop,
  LAYOUTS,
  OCTAVES_HZ,
  type Segment,
} from '../../domain/index.ts'
import { type Kernels, OctavePowers } from '../../dsp/index.ts'
import { BlockReader } from './block-reader.ts'

/** What one segment became, beside what it would be under the static gain alone. One row a 100 ms hop. */
export type AlteredSegment = {
  /** Power of all channels but the LFE in each octave (`OCTAVES_HZ`), hop by hop; 0 in hops that were not looked at. */
  readonly octavesBefore: Float64Array
  readonly octavesAfter: Float64Array
  /** Highest sample of the centre under the static gain around each hop; empty where there is no centre. */
  readonly centrePeak: Float64Array
}

/** Blocks that stay in the processor's cache. */
const BLOCK_FRAMES = 4096

/**
 * Looks at the words of a delivery beside its source under the static gain, where something more was done to them.
 * @param isActing 1 on the hops of the segment that are looked at
 */
export function compareWithSource(
  kernels: Kernels,
  delivered: AudioSource,
  before: AudioSource,
  segment: Segment,
  isActing: Uint8Array,
  cancellation?: Cancellation,
): AlteredSegment {
  const { sampleRateHz } = delivered.format
  const hopFrames = framesPerHop(sampleRateHz)
  const mark = kernels.arena.mark()
  const octaves = new OctavePowers(kernels, sampleRateHz, windowFrames(hopFrames))
  const roles = LAYOUTS[delivered.layout]
  const mains = roles.flatMap((role, channel) => (role === 'LFE' ? [] : [channel]))
  const centre = roles.indexOf('C')
  const [made, original] = [delivered, before].map((source) => new BlockReader(kernels, source, octaves.length)) as [
    BlockReader,
    BlockReader,
  ]
  const rows = () => new Float64Array(isActing.length * OCTAVES_HZ.length)
  const altered = {
    octavesBefore: rows(),
    octavesAfter: rows(),
    centrePeak: new Float64Array(centre < 0 ? 0 : isActing.length),
  }
  for (let hop = 0; hop < isActing.length; hop++) {
    if (isActing[hop] !== 1) continue
    if (cancellation?.aborted) throw new Cancelled()
    const from = segment.firstFrame + hop * hopFrames + Math.floor((hopFrames - octaves.length) / 2)
    const row = [hop * OCTAVES_HZ.length, (hop + 1) * OCTAVES_HZ.length] as const
    readWindow(original, before, from, octaves.length)
    addOctaves(octaves, original, mains, altered.octavesBefore.subarray(...row))
    if (centre >= 0) altered.centrePeak[hop] = highestOf(original.samples[centre] as Float64Array)
    readWindow(made, delivered, from, octaves.length)
    addOctaves(octaves, made, mains, altered.octavesAfter.subarray(...row))
  }
  kernels.arena.release(mark)
  return altered
}

/** The longest window of a power of two that two hops hold, so that neighbours overlap and no sound lies between them. */
function windowFrames(hopFrames: number): number {
  let frames = 64
  while (2 * frames <= 2 * hopFrames) frames *= 2
  return frames
}

/** Reads a window that may reach beyond the programme, where there is silence. */
function readWindow(reader: BlockReader, { frameCount }: AudioSource, from: number, length: number): void {
  const first = Math.max(0, from)
  const end = Math.min(frameCount, from + length)
  for (const samples of reader.samples) {
    samples.fill(0, 0, first - from)
    samples.fill(0, end - from)
  }
  reader.read(first, end - first, first - from)
}

function addOctaves(octaves: OctavePowers, { samples }: BlockReader, channels: readonly number[], row: Float64Array) {
  for (let index = 0; index < channels.length; index += 2) {
    const of = (at: number) => samples[channels[at] as number] as Float64Array
    octaves.add(index + 1 < channels.length ? [of(index), of(index + 1)] : [of(index)], 0, row)
  }
}

function highestOf(samples: Float64Array): number {
  let highest = 0
  for (const sample of samples) highest = Math.max(highest, Math.abs(sample))
  return highest
}

/**
 * What was done to a segment beyond the static gain, to be listened to: delivered minus source x static gain, interleaved
 * float32, given to `write` block by block.
 */
export function writeDifference(
  kernels: Kernels,
  delivered: AudioSource,
  before: AudioSource,
  segment: Segment,
  write: (bytes: Uint8Array, frameIndex: number) => void,
  cancellation?: Cancellation,
): void {
  const { channelCount } = delivered.format
  const mark = kernels.arena.mark()
  const made = new BlockReader(kernels, delivered, BLOCK_FRAMES)
  const original = new BlockReader(kernels, before, BLOCK_FRAMES)
  const difference = new Float32Array(BLOCK_FRAMES * channelCount)
  for (let offset = 0; offset < segment.frameCount; offset += BLOCK_FRAMES) {
    if (cancellation?.aborted) throw new Cancelled()
    const count = Math.min(BLOCK_FRAMES, segment.frameCount - offset)
    made.read(segment.firstFrame + offset, count)
    original.read(segment.firstFrame + offset, count)
    for (let channel = 0; channel < channelCount; channel++) {
      const [after, was] = [made.samples[channel] as Float64Array, original.samples[channel] as Float64Array]
      for (let i = 0; i < count; i++) {
        difference[i * channelCount + channel] = (after[i] as number) - (was[i] as number)
      }
    }
    write(new Uint8Array(difference.buffer, 0, 4 * count * channelCount), segment.firstFrame + offset)
  }
  kernels.arena.release(mark)
}

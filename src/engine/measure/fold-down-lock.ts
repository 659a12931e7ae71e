import {
  type AudioSource,
  assert,
  bytesPerFrame,
  foldDownCoefficients,
  hasFoldDown,
  powerToDb,
  type SampleEncoding,
  type Segment,
} from '../../domain/index.ts'

/** How the fold-down of the written words compares with the written stereo; counts can be summed over segments. */
export type FoldDownComparison = {
  readonly sampleCount: number
  readonly differingSamples: number
  /** In steps of the word; the largest of all segments is that of the programme. */
  readonly largestDifferenceLsb: number
}

/** How far the stereo is from the master under the same gains; sums of one segment, see `masterNullDbfs`. */
export type MasterComparison = {
  readonly sampleCount: number
  /** Sum of squared differences, full scale = 1. */
  readonly squaredDifference: number
  /** In steps of the stereo's word. */
  readonly largestDifferenceLsb: number
}

const BLOCK_FRAMES = 8192

/** Steps from 0 to full scale of each encoding; of a float encoding, 1. */
const STEPS: Readonly<Record<SampleEncoding, number>> = {
  int16: 32768,
  int24: 8388608,
  int32: 2147483648,
  float32: 1,
  float64: 1,
}

/**
 * Folds the words of a multichannel programme down to Lo/Ro in double precision, k = sqrt(1/2), rounds half up to the
 * same word, holds it at the word's ends, and compares with the words of the stereo, sample for sample.
 * Both hold integer words of the same length; the layout has a fold-down.
 * @source ITU-R BS.775-4 Table 2
 */
export function compareFoldDown(multichannel: AudioSource, stereo: AudioSource, segment: Segment): FoldDownComparison {
  assert(hasFoldDown(multichannel.layout), `${multichannel.layout} has no fold-down to compare`)
  assert(multichannel.format.encoding === stereo.format.encoding, 'the words of both files have the same length')
  const fullScale = STEPS[stereo.format.encoding]
  const coefficients = foldDownCoefficients(multichannel.layout)
  const [words, folded] = [blockReader(multichannel), blockReader(stereo)]
  const fold = new Float64Array(BLOCK_FRAMES)
  let differingSamples = 0
  let largestDifferenceLsb = 0
  for (let offset = 0; offset < segment.frameCount; offset += BLOCK_FRAMES) {
    const count = Math.min(BLOCK_FRAMES, segment.frameCount - offset)
    const channels = words(segment.firstFrame + offset, count)
    const sides = folded(segment.firstFrame + offset, count)
    for (const side of [0, 1] as const) {
      fold.fill(0)
      coefficients.forEach((toSides, channel) => {
        if (toSides[side] !== 0) addWeighted(fold, channels, channel, coefficients.length, toSides[side], count)
      })
      for (let frame = 0; frame < count; frame++) {
        const word = Math.max(-fullScale, Math.min(fullScale - 1, Math.floor((fold[frame] as number) + 0.5)))
        const difference = Math.abs(word - (sides[frame * 2 + side] as number))
        if (difference === 0) continue
        differingSamples++
        largestDifferenceLsb = Math.max(largestDifferenceLsb, difference)
      }
    }
  }
  return { sampleCount: 2 * segment.frameCount, differingSamples, largestDifferenceLsb }
}

/** Called in channel order, so that every double arithmetic that sums so gets the same bits. */
function addWeighted(
  sums: Float64Array,
  samples: Float64Array,
  channel: number,
  channelCount: number,
  weight: number,
  frameCount: number,
): void {
  for (let frame = 0, at = channel; frame < frameCount; frame++, at += channelCount) {
    sums[frame] = (sums[frame] as number) + weight * (samples[at] as number)
  }
}

/**
 * Compares a stereo file with the master it was made from under the gains that were reported: one linear gain for
 * each frame of the segment.
 */
export function compareWithMaster(
  stereo: AudioSource,
  master: AudioSource,
  segment: Segment,
  gain: Float64Array,
): MasterComparison {
  assert(stereo.format.channelCount === 2 && master.format.channelCount === 2, 'master and fold-down are two-track')
  const stepsPerUnit = STEPS[stereo.format.encoding]
  const masterScale = stepsPerUnit / STEPS[master.format.encoding]
  const [made, original] = [blockReader(stereo), blockReader(master)]
  let squares = 0
  let largestDifferenceLsb = 0
  for (let offset = 0; offset < segment.frameCount; offset += BLOCK_FRAMES) {
    const count = Math.min(BLOCK_FRAMES, segment.frameCount - offset)
    const sides = made(segment.firstFrame + offset, count)
    const wanted = original(segment.firstFrame + offset, count)
    for (let frame = 0; frame < count; frame++) {
      const scale = masterScale * (gain[offset + frame] as number)
      for (let i = 2 * frame; i < 2 * frame + 2; i++) {
        const difference = (sides[i] as number) - (wanted[i] as number) * scale
        squares += difference * difference
        largestDifferenceLsb = Math.max(largestDifferenceLsb, Math.abs(difference))
      }
    }
  }
  return {
    sampleCount: 2 * segment.frameCount,
    squaredDifference: squares / (stepsPerUnit * stepsPerUnit),
    largestDifferenceLsb,
  }
}

/** RMS of what is left of stereo minus master x gains over all segments, in dBFS; null where nothing is left. */
export function masterNullDbfs(segments: readonly MasterComparison[]): number | null {
  const squares = segments.reduce((sum, segment) => sum + segment.squaredDifference, 0)
  const samples = segments.reduce((sum, segment) => sum + segment.sampleCount, 0)
  return squares > 0 ? powerToDb(squares / samples) : null
}

/** Gives blocks of a source as interleaved numbers: integer words in their own steps, floats as they are. */
function blockReader(source: AudioSource): (frame: number, count: number) => Float64Array {
  const { encoding, channelCount } = source.format
  const bytes = new Uint8Array(BLOCK_FRAMES * bytesPerFrame(source.format))
  const samples = new Float64Array(BLOCK_FRAMES * channelCount)
  return (frame, count) => {
    const read = bytes.subarray(0, count * bytesPerFrame(source.format))
    source.readInto(read, frame, count)
    decodeWords(read, encoding, samples)
    return samples
  }
}

function decodeWords(bytes: Uint8Array, encoding: SampleEncoding, samples: Float64Array): void {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  if (encoding === 'int24') {
    for (let at = 0, i = 0; at < bytes.length; at += 3, i++) {
      const low = (bytes[at] as number) | ((bytes[at + 1] as number) << 8)
      samples[i] = (((bytes[at + 2] as number) << 24) >> 8) | low
    }
  } else if (encoding === 'int16') {
    for (let at = 0, i = 0; at < bytes.length; at += 2, i++) samples[i] = view.getInt16(at, true)
  } else if (encoding === 'int32') {
    for (let at = 0, i = 0; at < bytes.length; at += 4, i++) samples[i] = view.getInt32(at, true)
  } else if (encoding === 'float32') {
    for (let at = 0, i = 0; at < bytes.length; at += 4, i++) samples[i] = view.getFloat32(at, true)
  } else {
    for (let at = 0, i = 0; at < bytes.length; at += 8, i++) samples[i] = view.getFloat64(at, true)
  }
}

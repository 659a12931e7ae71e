import {
  type AudioSource,
  assert,
  encodeCoefficients,
  foldDownCoefficients,
  hasFoldDown,
  type LayoutName,
  powerToDb,
  type SampleEncoding,
  type Segment,
  type StereoRole,
} from '../../domain/index.ts'
import { Differences, type Kernels, type Plane, sumPlanes, takePlane } from '../../dsp/index.ts'
import { BlockReader } from './block-reader.ts'

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

/** Few enough that all planes of a block stay in the processor's cache. */
const BLOCK_FRAMES = 4096

/** Steps from 0 to full scale of each encoding; of a float encoding, 1. */
const STEPS: Readonly<Record<SampleEncoding, number>> = {
  int16: 32768,
  int24: 8388608,
  int32: 2147483648,
  float32: 1,
  float64: 1,
}

/**
 * Folds the words of a multichannel programme down in double precision, k = sqrt(1/2), rounds half up to the same word,
 * holds it at the word's ends, and compares with the words of the stereo, sample for sample. The law is Lo/Ro, or that by
 * which a decoded 5.1 becomes its Lt/Rt again.
 * Both hold integer words of the same length; the layout has a fold-down. Terms are added in channel order, so that
 * every double arithmetic that sums so gets the same bits.
 * @source ITU-R BS.775-4 Table 2 (Lo/Ro); ATSC A/52 7.8.2 and docs/decisions/0020 (Lt/Rt)
 */
export function compareFoldDown(
  kernels: Kernels,
  multichannel: AudioSource,
  stereo: AudioSource,
  segment: Segment,
  law: StereoRole = 'lo-ro',
): FoldDownComparison {
  assert(hasFoldDown(multichannel.layout), `${multichannel.layout} has no fold-down to compare`)
  assert(multichannel.format.encoding === stereo.format.encoding, 'the words of both files have the same length')
  const mark = kernels.arena.mark()
  const fullScale = STEPS[stereo.format.encoding]
  const [words, folded] = [
    new BlockReader(kernels, multichannel, BLOCK_FRAMES),
    new BlockReader(kernels, stereo, BLOCK_FRAMES),
  ]
  const coefficients = coefficientsOf(multichannel.layout, law)
  const sides = ([0, 1] as const).map((side) =>
    words.planes
      .map((plane, channel) => ({ plane, weight: (coefficients[channel] as readonly [number, number])[side] }))
      .filter(({ weight }) => weight !== 0),
  )
  const sum = takePlane(kernels, BLOCK_FRAMES, true)
  const differences = new Differences(kernels)
  for (let offset = 0; offset < segment.frameCount; offset += BLOCK_FRAMES) {
    const count = Math.min(BLOCK_FRAMES, segment.frameCount - offset)
    words.read(segment.firstFrame + offset, count)
    folded.read(segment.firstFrame + offset, count)
    for (const [side, terms] of sides.entries()) {
      sumPlanes(kernels, terms, 0, count, sum)
      differences.compareWords(sum, folded.planes[side] as Plane, count, fullScale)
    }
  }
  const { count: differingSamples, largest: largestDifferenceLsb } = differences.words
  kernels.arena.release(mark)
  return { sampleCount: 2 * segment.frameCount, differingSamples, largestDifferenceLsb }
}

function coefficientsOf(layout: LayoutName, law: StereoRole): readonly (readonly [number, number])[] {
  if (law === 'lo-ro') return foldDownCoefficients(layout)
  assert(layout === '5.1', `an Lt/Rt is decoded to 5.1, not to ${layout}`)
  return encodeCoefficients()
}

/**
 * Compares a stereo file with the master it was made from under the gains that were reported: one linear gain for
 * each frame of the segment.
 */
export function compareWithMaster(
  kernels: Kernels,
  stereo: AudioSource,
  master: AudioSource,
  segment: Segment,
  gain: Float64Array,
): MasterComparison {
  assert(stereo.format.channelCount === 2 && master.format.channelCount === 2, 'master and fold-down are two-track')
  const mark = kernels.arena.mark()
  const [made, original] = [
    new BlockReader(kernels, stereo, BLOCK_FRAMES),
    new BlockReader(kernels, master, BLOCK_FRAMES),
  ]
  const gains = takePlane(kernels, BLOCK_FRAMES, true)
  const scales = new Float64Array(kernels.memory.buffer, gains.address, BLOCK_FRAMES)
  const differences = new Differences(kernels)
  for (let offset = 0; offset < segment.frameCount; offset += BLOCK_FRAMES) {
    const count = Math.min(BLOCK_FRAMES, segment.frameCount - offset)
    made.read(segment.firstFrame + offset, count)
    original.read(segment.firstFrame + offset, count)
    scales.set(gain.subarray(offset, offset + count))
    differences.compareUnder(gains, made.planes, original.planes, count)
  }
  const { squares, largest } = differences.leftOver
  kernels.arena.release(mark)
  return {
    sampleCount: 2 * segment.frameCount,
    squaredDifference: squares,
    largestDifferenceLsb: largest * STEPS[stereo.format.encoding],
  }
}

/** RMS of what is left of stereo minus master x gains over all segments, in dBFS; null where nothing is left. */
export function masterNullDbfs(segments: readonly MasterComparison[]): number | null {
  const squares = segments.reduce((sum, segment) => sum + segment.squaredDifference, 0)
  const samples = segments.reduce((sum, segment) => sum + segment.sampleCount, 0)
  return squares > 0 ? powerToDb(squares / samples) : null
}

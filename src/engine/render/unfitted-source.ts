import { type AudioSource, bytesPerFrame, frontSpreadOver, LAYOUTS } from '../../domain/index.ts'
import { decodeChannel, type Kernels, takePlane, writeFronts, writeMatrixFronts } from '../../dsp/index.ts'
import { riddenSource } from './ridden-source.ts'
import type { RenderJob } from './segment.ts'

/** Frames that are worked on together; a longer read takes several rounds. */
const BLOCK_FRAMES = 4096

/**
 * What a delivery would be under its static gain alone: the source, or the 5.1 that its upmix makes, before any word is
 * cut. Float64, full scale = 1, in the layout of the delivery; outside of the programme samples stay as they are.
 * Takes memory from `kernels.arena`, which the caller releases.
 */
export function sourceUnderStaticGain(kernels: Kernels, job: RenderJob): AudioSource {
  const { staticGainDb, programme } = job.gain
  const unfitted = job.upmixed === null ? job.source : unfittedUpmix(kernels, job)
  return riddenSource(kernels, unfitted, { staticGainDb, rideDb: null, ceilingDbtp: null, programme })
}

/** The 5.1 of an upmix before any gain, from the two tracks and what was taken out of them. */
function unfittedUpmix(kernels: Kernels, job: RenderJob): AudioSource {
  const { source } = job
  const roles = LAYOUTS['5.1']
  const format = { encoding: 'float64', channelCount: roles.length, sampleRateHz: source.format.sampleRateHz } as const
  const blocks = takeBlocks(kernels, source)
  const interleaved = new Float64Array(BLOCK_FRAMES * roles.length)
  return {
    format,
    layout: '5.1',
    frameCount: source.frameCount,
    readInto(bytes, frameIndex, count) {
      for (let done = 0; done < count; done += BLOCK_FRAMES) {
        const frames = Math.min(BLOCK_FRAMES, count - done)
        const channels = readBlock(kernels, job, blocks, frameIndex + done, frames)
        for (const [channel, samples] of channels.entries()) {
          for (let i = 0; i < frames; i++) interleaved[i * roles.length + channel] = samples[i] as number
        }
        const frameBytes = bytesPerFrame(format)
        bytes.set(new Uint8Array(interleaved.buffer, 0, frames * frameBytes), done * frameBytes)
      }
    },
  }
}

/** Kernel memory for one block: the words of the two tracks, those tracks, and what was taken out of them. */
type Blocks = {
  readonly words: number
  readonly wide: readonly [number, number]
  readonly extracted: readonly number[]
}

function takeBlocks(kernels: Kernels, source: AudioSource): Blocks {
  const take = (isWide: boolean) => takePlane(kernels, BLOCK_FRAMES, isWide).address
  return {
    words: kernels.arena.take(BLOCK_FRAMES * bytesPerFrame(source.format)),
    wide: [take(true), take(true)],
    extracted: [take(false), take(false), take(false), take(false)],
  }
}

/** The six channels of a block, in the order of the layout. */
function readBlock(
  kernels: Kernels,
  { source, upmixed, hasLfe, frontSpread, isLtRt }: RenderJob,
  { words, wide, extracted }: Blocks,
  firstFrame: number,
  frameCount: number,
): readonly (Float64Array | Float32Array)[] {
  const { buffer } = kernels.memory
  source.readInto(new Uint8Array(buffer, words, frameCount * bytesPerFrame(source.format)), firstFrame, frameCount)
  const pcm = { address: words, format: source.format, frameCount }
  for (const [channel, address] of wide.entries()) decodeChannel(kernels, pcm, channel, { address, isWide: true }, 0)
  const [left, right] = wide.map((address) => new Float64Array(buffer, address, frameCount)) as [
    Float64Array,
    Float64Array,
  ]
  const [centre, leftSurround, rightSurround, lfe] = extracted.map((address, index) => {
    const samples = new Float32Array(buffer, address, frameCount)
    if (index === extracted.length - 1 && !hasLfe) return samples.fill(0)
    upmixed?.read(index, firstFrame, samples)
    return samples
  }) as [Float32Array, Float32Array, Float32Array, Float32Array]
  const tracks = { left, right }
  const taken = { centre, leftSurround, rightSurround }
  if (isLtRt) writeMatrixFronts(kernels, tracks, taken, tracks)
  else writeFronts(kernels, tracks, taken, frontSpreadOver(frontSpread, firstFrame, frameCount), tracks)
  return [left, right, centre, lfe, leftSurround, rightSurround]
}

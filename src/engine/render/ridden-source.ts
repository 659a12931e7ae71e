import { type AudioSource, BYTES_PER_SAMPLE, bytesPerFrame, type GainPlan, type PcmFormat } from '../../domain/index.ts'
import { decodeChannel, holdUnityOutside, type Kernels, takeGain, takePlane, writeGain } from '../../dsp/index.ts'

/** Frames that are worked on together; a longer read takes several rounds. */
const BLOCK_FRAMES = 4096

/**
 * A programme as it sounds under the static gain and the ride of a plan, before any word is cut: float64, full scale = 1.
 * Samples that are not finite are silent in it. The ceiling of the plan is left out. Takes memory from `kernels.arena`,
 * which the caller releases.
 */
export function riddenSource(kernels: Kernels, source: AudioSource, plan: GainPlan): AudioSource {
  const { format: words, layout, frameCount } = source
  const { channelCount, sampleRateHz } = words
  const format: PcmFormat = { encoding: 'float64', channelCount, sampleRateHz }
  const address = kernels.arena.take(BLOCK_FRAMES * bytesPerFrame(words))
  const plane = takePlane(kernels, BLOCK_FRAMES, true)
  const gainAddress = takeGain(kernels, BLOCK_FRAMES)
  const samples = new Float64Array(kernels.memory.buffer, plane.address, BLOCK_FRAMES)
  const gain = new Float64Array(kernels.memory.buffer, gainAddress, BLOCK_FRAMES)
  const ridden = new Float64Array(BLOCK_FRAMES * channelCount)
  const readBlock = (firstFrame: number, count: number): void => {
    const stretch = { firstFrame, frameCount: count }
    source.readInto(new Uint8Array(kernels.memory.buffer, address, count * bytesPerFrame(words)), firstFrame, count)
    writeGain(kernels, plan, sampleRateHz, stretch, gainAddress)
    holdUnityOutside(kernels, plan.programme, stretch, gainAddress)
    for (let channel = 0; channel < channelCount; channel++) {
      decodeChannel(kernels, { address, format: words, frameCount: count }, channel, plane, 0)
      for (let i = 0; i < count; i++) {
        ridden[i * channelCount + channel] = (samples[i] as number) * (gain[i] as number)
      }
    }
  }
  const frameBytes = BYTES_PER_SAMPLE.float64 * channelCount
  return {
    format,
    layout,
    frameCount,
    readInto(bytes, frameIndex, count) {
      for (let done = 0; done < count; done += BLOCK_FRAMES) {
        const frames = Math.min(BLOCK_FRAMES, count - done)
        readBlock(frameIndex + done, frames)
        bytes.set(new Uint8Array(ridden.buffer, 0, frames * frameBytes), done * frameBytes)
      }
    },
  }
}

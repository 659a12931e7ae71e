import { setImmediate } from 'node:timers/promises'
import { bytesPerFrame, Cancelled } from '../domain/index.ts'
import { openAudio } from '../media/index.ts'
import { refuse } from './refusals.ts'
import type { OpenedSource } from './source.ts'

const BLOCK_FRAMES = 1 << 16
/** Sign aside, an exponent of ones alone is an infinity or no number. @source IEEE 754-2019 clause 3.4 */
const EXPONENT_BITS = { float32: 0x7f80_0000, float64: 0x7ff0_0000 } as const

/**
 * Refuses a source with samples that are no numbers before anything is made of it: they would spread through every
 * filter. Only floating point can hold them; a second of stereo takes 0.1 ms to look through.
 */
export async function refuseNonFinite(source: OpenedSource, signal: AbortSignal | undefined): Promise<void> {
  const { encoding, sampleRateHz } = source.format
  if (encoding !== 'float32' && encoding !== 'float64') return
  const exponent = EXPONENT_BITS[encoding]
  const bytes = new Uint8Array(BLOCK_FRAMES * bytesPerFrame(source.format))
  const view = new Uint32Array(bytes.buffer)
  const wordsPerSample = encoding === 'float32' ? 1 : 2
  const wordsPerFrame = wordsPerSample * source.format.channelCount
  const audio = openAudio(source.location)
  try {
    for (let frame = 0; frame < source.frameCount; frame += BLOCK_FRAMES) {
      if (signal?.aborted) throw new Cancelled('stopped by the user')
      const frames = Math.min(BLOCK_FRAMES, source.frameCount - frame)
      audio.readInto(bytes, frame, frames)
      // The upper half of a float64 comes second: samples lie little-endian in the file and in memory.
      for (let word = wordsPerSample - 1; word < frames * wordsPerFrame; word += wordsPerSample) {
        if (((view[word] as number) & exponent) !== exponent) continue
        const seconds = (frame + Math.floor(word / wordsPerFrame)) / sampleRateHz
        const found = `a sample that is not a number or infinite, ${seconds.toFixed(3)} s from the beginning`
        throw refuse('JOBS_SOURCE_NOT_FINITE', `use "${source.path}"`, found)
      }
      await setImmediate()
    }
  } finally {
    audio.close()
  }
}

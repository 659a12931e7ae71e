import type { AudioSource, FrameRange } from '../domain/index.ts'

/** A stretch of a programme as a source that begins and ends with it. */
export function stretchOf(source: AudioSource, { startFrame, endFrame }: FrameRange): AudioSource {
  return {
    format: source.format,
    layout: source.layout,
    frameCount: endFrame - startFrame,
    readInto: (bytes, frameIndex, frameCount) => source.readInto(bytes, startFrame + frameIndex, frameCount),
  }
}

/** Samples as the bytes of a float32 file. */
export function float32Bytes(samples: Float64Array): Uint8Array {
  return new Uint8Array(Float32Array.from(samples).buffer)
}

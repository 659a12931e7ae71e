import type { LayoutName } from './layout.ts'

/** How one sample is written in a PCM stream (little-endian, interleaved). */
export type SampleEncoding = 'int16' | 'int24' | 'int32' | 'float32' | 'float64'

/** Bytes that one sample takes in each encoding. */
export const BYTES_PER_SAMPLE: Readonly<Record<SampleEncoding, number>> = {
  int16: 2,
  int24: 3,
  int32: 4,
  float32: 4,
  float64: 8,
}

/** The shape of a PCM stream: frames of `channelCount` interleaved samples. */
export type PcmFormat = {
  readonly encoding: SampleEncoding
  readonly channelCount: number
  readonly sampleRateHz: number
}

/** Bytes that one frame (one instant over all channels) takes. */
export function bytesPerFrame(format: PcmFormat): number {
  return BYTES_PER_SAMPLE[format.encoding] * format.channelCount
}

/**
 * A programme that can be read at any frame, as raw interleaved PCM (kernels decode it themselves).
 * The channels stand in the order of `LAYOUTS[layout]`, whatever the order in the file was.
 */
export interface AudioSource {
  readonly format: PcmFormat
  readonly layout: LayoutName
  readonly frameCount: number
  /**
   * Fills `bytes` with `frameCount` whole frames from `frameIndex` on. The range must lie inside the
   * programme; a read that comes back short is a refusal of the media layer.
   */
  readInto(bytes: Uint8Array, frameIndex: number, frameCount: number): void
}

/** Takes finished PCM at any frame, in any order; `bytes` are whole interleaved frames. */
export interface AudioSink {
  readonly format: PcmFormat
  write(bytes: Uint8Array, frameIndex: number): void
}

/** Asked between blocks; a real `AbortSignal` fits by its shape. */
export interface Cancellation {
  readonly aborted: boolean
}

/** Scratch space for planar float32 signals of the programme's length, e.g. C, Ls, Rs between analysis and render. */
export interface PlaneStore {
  read(planeIndex: number, frameIndex: number, samples: Float32Array): void
  write(planeIndex: number, frameIndex: number, samples: Float32Array): void
}

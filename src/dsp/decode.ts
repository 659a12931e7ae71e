import { BYTES_PER_SAMPLE, bytesPerFrame, type PcmFormat, type SampleEncoding } from '../domain/index.ts'
import type { Kernels } from './kernels.ts'

export interface DecodeExports {
  readonly decodeToFloat32: DecodeChannel
  readonly decodeToFloat64: DecodeChannel
}
type DecodeChannel = (first: number, frameBytes: number, encoding: number, frameCount: number, out: number) => void

/** One channel or derived signal of a stretch in kernel memory, full scale = 1: float64 if `isWide`, else float32. */
export type Plane = { readonly address: number; readonly isWide: boolean }

const KERNEL_ENCODING: Readonly<Record<SampleEncoding, number>> = {
  int16: 0,
  int24: 1,
  int32: 2,
  float32: 3,
  float64: 4,
}

/** Frames after the end of every plane that hold silence, so that kernels may work in whole groups. */
export const PLANE_SLACK_FRAMES = 64

/** Whether a plane must be float64 to hold samples of this encoding exactly. */
export function needsWidePlane(encoding: SampleEncoding): boolean {
  return encoding === 'int32' || encoding === 'float64'
}

export function bytesPerPlaneSample(plane: Plane): number {
  return plane.isWide ? 8 : 4
}

/** Takes memory for `frameCount` frames and silences the slack behind them. */
export function takePlane(kernels: Kernels, frameCount: number, isWide: boolean): Plane {
  const bytes = isWide ? 8 : 4
  const address = kernels.arena.take((frameCount + PLANE_SLACK_FRAMES) * bytes)
  new Uint8Array(kernels.memory.buffer, address + frameCount * bytes, PLANE_SLACK_FRAMES * bytes).fill(0)
  return { address, isWide }
}

/**
 * Decodes one channel of raw interleaved PCM in kernel memory into `plane`, from its frame `toFrame` on.
 * Samples that are not finite become silence; float samples beyond +96 dBFS are held there.
 * Allocates nothing; the result is exact if the plane is wide where `needsWidePlane` says so.
 */
export function decodeChannel(
  kernels: Kernels,
  pcm: { readonly address: number; readonly format: PcmFormat; readonly frameCount: number },
  channel: number,
  plane: Plane,
  toFrame: number,
): void {
  const decode = plane.isWide ? kernels.exports.decodeToFloat64 : kernels.exports.decodeToFloat32
  decode(
    pcm.address + channel * BYTES_PER_SAMPLE[pcm.format.encoding],
    bytesPerFrame(pcm.format),
    KERNEL_ENCODING[pcm.format.encoding],
    pcm.frameCount,
    plane.address + toFrame * bytesPerPlaneSample(plane),
  )
}

import {
  type FrameRange,
  framesPerSegment,
  type PlaneStore,
  type Segment,
  segmentAt,
  segmentCount,
} from '../../domain/index.ts'
import type { UpmixedSegment } from '../../engine/render/index.ts'

/** C, Ls, Rs and the LFE of some frames; what an upmix does not feed is silent. */
export type PlanesPiece = FrameRange & { readonly planes: readonly (Float32Array | null)[] }

/** Copies what an upmix gave out of kernel memory, for the frames of a range. */
export function pieceOf(upmixed: UpmixedSegment, { startFrame, endFrame }: FrameRange): PlanesPiece {
  const { centre, leftSurround, rightSurround, lfe, firstFrame } = upmixed
  const cut = (plane: Float32Array | null) => plane?.slice(startFrame - firstFrame, endFrame - firstFrame) ?? null
  return { startFrame, endFrame, planes: [centre, leftSurround, rightSurround, lfe].map(cut) }
}

/** Pieces that lie beside each other, as a render reads them. */
export function storeOf(pieces: readonly PlanesPiece[]): PlaneStore {
  return {
    read(planeIndex, frameIndex, samples) {
      samples.fill(0)
      for (const { startFrame, endFrame, planes } of pieces) {
        const plane = planes[planeIndex]
        const from = Math.max(startFrame, frameIndex)
        const to = Math.min(endFrame, frameIndex + samples.length)
        if (plane == null || from >= to) continue
        samples.set(plane.subarray(from - startFrame, to - startFrame), from - frameIndex)
      }
    },
    write() {
      throw new Error('what is listened to is only read')
    },
  }
}

/** The segments of the grid that some frames lie in: what is upmixed segment by segment is what a delivery holds. */
export function segmentsOver(range: FrameRange, frameCount: number, sampleRateHz: number): readonly Segment[] {
  const length = framesPerSegment(sampleRateHz)
  const first = Math.max(0, Math.floor(range.startFrame / length))
  const end = Math.min(segmentCount(frameCount, sampleRateHz), Math.ceil(range.endFrame / length))
  return Array.from({ length: Math.max(0, end - first) }, (_, i) => segmentAt(first + i, frameCount, sampleRateHz))
}

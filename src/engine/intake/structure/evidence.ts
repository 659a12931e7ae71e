import type { FrameRange } from '../../../domain/index.ts'

/** A stretch in which one channel carries one pure steady sine. */
export type ToneRun = FrameRange & {
  readonly channel: number
  readonly frequencyHz: number
  /** Mean square, full scale = 1. */
  readonly power: number
}

/** What one segment of a programme tells about its structure. */
export type StructureEvidence = {
  readonly range: FrameRange
  /** Peak over all channels in each 10 ms hop, as `levelCode`. */
  readonly level10ms: Uint8Array
  /** Stretches of digital silence (nothing above one step of 16 bits) that touch whole hops, exact to the frame. */
  readonly silences: readonly FrameRange[]
  readonly tones: readonly ToneRun[]
}

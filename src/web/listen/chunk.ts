import type { LayoutName } from '../../domain/index.ts'

/** Chunks that are made ahead of what is heard. */
export const AHEAD_CHUNKS = 4

/** How long a chunk is. */
export const CHUNK_SECONDS = 1

/** What a stretch of programme can be heard as. `upmix` and `fitted` only where they can be made. */
export type SignalName = 'source' | 'upmix' | 'fitted'

export const SIGNALS: readonly SignalName[] = ['source', 'upmix', 'fitted']

/** A plane for each channel; where there are surrounds one more, their sum turned by 90 degrees, for Lt/Rt. */
export type SignalPlanes = readonly Float32Array<ArrayBuffer>[]

/** A stretch of the programme as everything that it can be heard as. */
export type Chunk = {
  readonly firstFrame: number
  readonly frameCount: number
  /** Names the plan that `fitted` was made by. */
  readonly planNumber: number
  /** Made from whole upmixed segments, or without an upmix: `fitted` is what is delivered, to the bit. */
  readonly isExact: boolean
  readonly signals: Readonly<Partial<Record<SignalName, SignalPlanes>>>
}

/** The layouts of what can be heard; absent: it cannot. */
export type SignalLayouts = Readonly<Partial<Record<SignalName, LayoutName>>>

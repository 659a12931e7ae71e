/** A stretch of a programme in its frames, [startFrame, endFrame). */
export type FrameRange = { readonly startFrame: number; readonly endFrame: number }

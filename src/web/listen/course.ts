import type { FrameRange } from '../../domain/index.ts'

/** Where playing goes from a frame on: in one direction, and round and round where a stretch is looped. */
export type Course = {
  readonly frame: number
  /** 1 or -1; backwards nothing is looped. */
  readonly direction: number
  readonly loop: FrameRange | null
  readonly chunkFrames: number
  /** Of the programme. */
  readonly frameCount: number
}

/** The next chunks on a course, that of its frame first, each once; at most `count`. */
export function chunksAhead(course: Course, count: number): readonly number[] {
  const { frame, direction, loop, chunkFrames, frameCount } = course
  const last = Math.ceil(frameCount / chunkFrames) - 1
  const indexOf = (at: number) => Math.floor(at / chunkFrames)
  const walk = (from: number, to: number) =>
    Array.from({ length: Math.max(0, Math.min(count, to - from + 1)) }, (_, i) => from + i)
  if (loop === null || direction < 0) {
    const first = indexOf(frame)
    return Array.from({ length: count }, (_, i) => first + i * direction).filter((index) => index >= 0 && index <= last)
  }
  // What follows the loop is still heard for a moment where it goes back.
  const end = Math.min(last, indexOf(loop.endFrame))
  const here = walk(indexOf(frame < loop.endFrame ? frame : loop.startFrame), end)
  return [...new Set([...here, ...walk(indexOf(loop.startFrame), end)])].slice(0, count)
}

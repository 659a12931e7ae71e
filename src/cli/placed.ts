import { type Clock, type FrameRange, labelAt, printTime } from '../domain/index.ts'

/** How frames of a programme are told to people: its rate, and its timecode where it has one. */
export type Ruler = { readonly sampleRateHz: number; readonly clock: Clock | null }

/** A frame as timecode, else as time from the beginning. */
export function printFrame(frame: number, { clock, sampleRateHz }: Ruler): string {
  return clock === null ? printTime(frame / sampleRateHz, 2) : labelAt(clock, frame)
}

/** A stretch as `from to`, e.g. `10:12:03:00  10:12:08:05`. */
export function printRange({ startFrame, endFrame }: FrameRange, ruler: Ruler): string {
  return `${printFrame(startFrame, ruler)}  ${printFrame(endFrame, ruler)}`
}

/**
 * The same value with `startSeconds`, `endSeconds` and, where there is timecode, `startTimecode` and `endTimecode`
 * beside every `startFrame` and `endFrame` in it, and likewise for lone frames such as `peakFrame`.
 */
export function placed(value: unknown, ruler: Ruler): unknown {
  if (Array.isArray(value)) return value.map((item) => placed(item, ruler))
  if (value === null || typeof value !== 'object' || ArrayBuffer.isView(value)) return value
  return Object.fromEntries(
    Object.entries(value).flatMap(([key, item]) => {
      const name = /^(start|end|peak)Frame$/.exec(key)?.[1]
      if (name === undefined || typeof item !== 'number') return [[key, placed(item, ruler)]]
      const timecode = ruler.clock === null ? null : labelAt(ruler.clock, item)
      return [
        [key, item],
        [`${name}Seconds`, item / ruler.sampleRateHz],
        [`${name}Timecode`, timecode],
      ]
    }),
  )
}

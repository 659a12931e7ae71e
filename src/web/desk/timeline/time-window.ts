/** The stretch of a programme that is seen, in seconds. */
export type TimeWindow = { readonly from: number; readonly to: number }

const SHORTEST_SECONDS = 2

/** Keeps a window inside the programme and no shorter than can be read. */
export function within({ from, to }: TimeWindow, durationSeconds: number): TimeWindow {
  const length = Math.min(durationSeconds, Math.max(Math.min(SHORTEST_SECONDS, durationSeconds), to - from))
  const start = Math.min(Math.max(0, from), durationSeconds - length)
  return { from: start, to: start + length }
}

/** Makes the window `factor` times as long around an instant that stays where it is. */
export function zoomed({ from, to }: TimeWindow, factor: number, around: number, durationSeconds: number): TimeWindow {
  const length = Math.min(durationSeconds, Math.max(SHORTEST_SECONDS, (to - from) * factor))
  const share = (around - from) / (to - from)
  return within({ from: around - share * length, to: around + (1 - share) * length }, durationSeconds)
}

export function panned({ from, to }: TimeWindow, seconds: number, durationSeconds: number): TimeWindow {
  return within({ from: from + seconds, to: to + seconds }, durationSeconds)
}

/** A window in which a stretch takes the middle third; long stretches are seen whole. */
export function around(startSeconds: number, endSeconds: number, durationSeconds: number): TimeWindow {
  const length = Math.max(12, (endSeconds - startSeconds) * 3)
  const middle = (startSeconds + endSeconds) / 2
  return within({ from: middle - length / 2, to: middle + length / 2 }, durationSeconds)
}

const STEPS_SECONDS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600]

/** Round instants for a ruler, at least `pixels` apart. */
export function rulerSeconds({ from, to }: TimeWindow, width: number, pixels: number): readonly number[] {
  const least = ((to - from) / width) * pixels
  const step = STEPS_SECONDS.find((seconds) => seconds >= least) ?? 3600
  const first = Math.ceil(from / step)
  return Array.from({ length: Math.max(0, Math.floor(to / step) - first + 1) }, (_, i) => (first + i) * step)
}

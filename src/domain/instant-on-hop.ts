import { framesPerHop } from './grid.ts'
import { type Clock, frameRateFraction, printInstant, readInstant } from './timecode.ts'

/** What time without timecode is written in. */
const MILLISECONDS = { numerator: 1000, denominator: 1 }

/**
 * The written time nearest to a frame that leaves the same hops inside a trim: a trim moves the ride points, which stand
 * in the middle of every 100 ms, and a label counts in pictures only.
 */
export function instantOnHop(clock: Clock | null, frame: number, sampleRateHz: number): string {
  const hopFrames = framesPerHop(sampleRateHz)
  const hopsBefore = (instant: number) => Math.ceil(instant / hopFrames - 0.5)
  const { numerator, denominator } = clock === null ? MILLISECONDS : frameRateFraction(clock.format.rate)
  const step = Math.ceil((sampleRateHz * denominator) / numerator)
  const written = [frame, frame + step, Math.max(0, frame - step)].map((near) =>
    printInstant(clock, near, sampleRateHz),
  )
  const isSame = (text: string) => hopsBefore(readInstant(clock, text, sampleRateHz) as number) === hopsBefore(frame)
  return written.find(isSame) ?? (written[0] as string)
}

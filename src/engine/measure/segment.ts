import {
  type AudioSource,
  bytesPerFrame,
  type Cancellation,
  Cancelled,
  framesPerHop,
  type LayoutName,
  type Measured,
  type Segment,
} from '../../domain/index.ts'
import { type Kernels, Meter } from '../../dsp/index.ts'

/** Bytes of one read: enough to make the call cheap, few enough to stay in the processor's cache. */
const READ_BYTES = 512 * 1024

/** What is heard before a segment so that its filters stand as if the programme had run through. */
const WARM_UP_HOPS = 2

/**
 * Measures one segment of a programme from its raw PCM. The segments of a programme, joined, give what one pass over
 * all of it gives: peaks exactly, energies to 1e-10.
 * @param peakHistory also keep the true peak of every 100 ms
 */
export function measureSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
  peakHistory = false,
): Measured {
  const { format, layout, frameCount } = source
  const { sampleRateHz, encoding } = format
  const hopFrames = framesPerHop(sampleRateHz)
  const readFrames = Math.max(1, Math.floor(READ_BYTES / (bytesPerFrame(format) * hopFrames))) * hopFrames
  const mark = kernels.arena.mark()
  try {
    const meter = new Meter(kernels, {
      sampleRateHz,
      layout,
      input: encoding,
      capacityFrames: readFrames,
      firstFrame: segment.firstFrame,
      peakHistory,
    })
    const feed = (from: number, to: number): void => {
      for (let frame = from; frame < to; frame += readFrames) {
        if (cancellation?.aborted) throw new Cancelled()
        const frames = Math.min(readFrames, to - frame)
        source.readInto(meter.pcm.subarray(0, frames * bytesPerFrame(format)), frame, frames)
        meter.run(frames)
      }
    }
    const end = segment.firstFrame + segment.frameCount
    feed(Math.max(0, segment.firstFrame - WARM_UP_HOPS * hopFrames), segment.firstFrame)
    meter.endWarmUp()
    feed(segment.firstFrame, end)
    return meter.finish(end === frameCount)
  } finally {
    kernels.arena.release(mark)
  }
}

/** A meter for signals that are in no file. */
export type PlaneMeter = Pick<Meter, 'planes' | 'run' | 'endWarmUp' | 'finish'>

/**
 * Measures signals that are computed on the way: fill `planes` (in channel order, up to 100 ms each), `run`, repeat.
 * Feed 200 ms of what comes before `firstFrame` first, from a 100 ms border on, and call `endWarmUp`.
 * Takes its memory from `kernels.arena`; the caller gives it back.
 */
export function createPlaneMeter(
  kernels: Kernels,
  shape: { readonly sampleRateHz: number; readonly layout: LayoutName; readonly firstFrame: number },
): PlaneMeter {
  return new Meter(kernels, { ...shape, input: 'planes', capacityFrames: framesPerHop(shape.sampleRateHz) })
}

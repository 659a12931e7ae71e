import {
  type AudioSource,
  type Cancellation,
  Cancelled,
  WAVEFORM_FULL_SCALE,
  type WaveformPoints,
} from '../../domain/index.ts'
import type { Kernels } from '../../dsp/index.ts'
import { BlockReader } from './block-reader.ts'

/** Points of one read. */
const READ_POINTS = 64

/** The extremes of every channel in each begun stretch of `pointFrames` frames. */
export function waveformOfStretch(
  kernels: Kernels,
  source: AudioSource,
  { firstFrame, frameCount }: { readonly firstFrame: number; readonly frameCount: number },
  pointFrames: number,
  cancellation?: Cancellation,
): WaveformPoints {
  const mark = kernels.arena.mark()
  try {
    const reader = new BlockReader(kernels, source, READ_POINTS * pointFrames)
    const points = reader.samples.map(() => new Int16Array(2 * Math.ceil(frameCount / pointFrames)))
    for (let done = 0; done < frameCount; done += READ_POINTS * pointFrames) {
      if (cancellation?.aborted) throw new Cancelled()
      const frames = Math.min(READ_POINTS * pointFrames, frameCount - done)
      reader.read(firstFrame + done, frames)
      for (const [channel, samples] of reader.samples.entries()) {
        writeExtremes(samples, frames, pointFrames, points[channel] as Int16Array, (2 * done) / pointFrames)
      }
    }
    return points
  } finally {
    kernels.arena.release(mark)
  }
}

function writeExtremes(samples: Float64Array, frames: number, pointFrames: number, into: Int16Array, at: number): void {
  let next = at
  for (let first = 0; first < frames; first += pointFrames) {
    const end = Math.min(frames, first + pointFrames)
    let lowest = samples[first] as number
    let highest = lowest
    for (let frame = first + 1; frame < end; frame++) {
      const sample = samples[frame] as number
      if (sample < lowest) lowest = sample
      else if (sample > highest) highest = sample
    }
    into[next++] = held(Math.floor(lowest * WAVEFORM_FULL_SCALE))
    into[next++] = held(Math.ceil(highest * WAVEFORM_FULL_SCALE))
  }
}

/** Float samples may lie beyond full scale; they are drawn at the edge. */
function held(value: number): number {
  return Math.max(-WAVEFORM_FULL_SCALE, Math.min(WAVEFORM_FULL_SCALE - 1, value))
}

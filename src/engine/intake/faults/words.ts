import {
  BYTES_PER_SAMPLE,
  bytesPerFrame,
  type FrameRange,
  type PcmFormat,
  type SampleEncoding,
} from '../../../domain/index.ts'
import type { Stretch } from '../detector.ts'
import { type Occurrences, OFF_GRID, type WordEvidence } from './evidence.ts'

/** Places of broken samples kept per channel and segment; the count is always complete. */
const MOST_PLACES = 16

/** The finest grid that is looked for in floating point: 24-bit words. */
const FINEST_GRID_BITS = 24

/** Which bits the words use, second by second, and which samples are no numbers. */
export function lookAtWords(stretch: Stretch): WordEvidence {
  const { format, bytes } = stretch.words
  const windowCount = Math.ceil(stretch.frameCount / stretch.sampleRateHz)
  const usedBits = new Uint8Array(windowCount * format.channelCount)
  const isFloat = format.encoding === 'float32' || format.encoding === 'float64'
  const notFinite: Occurrences[] = []
  for (let channel = 0; channel < format.channelCount; channel++) {
    const broken = isFloat ? findNotFinite(stretch, channel) : { count: 0, places: [] }
    notFinite.push(broken)
    for (let window = 0; window < windowCount; window++) {
      const first = window * stretch.sampleRateHz
      const frames = Math.min(stretch.sampleRateHz, stretch.frameCount - first)
      const at = first * bytesPerFrame(format) + channel * BYTES_PER_SAMPLE[format.encoding]
      usedBits[window * format.channelCount + channel] = isFloat
        ? usedByFloats(bytes, at, frames, format)
        : usedByIntegers(bytes, at, frames, format)
    }
  }
  return { windowCount, usedBits, notFinite }
}

/** The grid that the words of this segment lie on: the distance of neighbouring values, full scale = 1. */
export function gridStep(words: WordEvidence, encoding: SampleEncoding): number {
  let bits = 0
  for (const used of words.usedBits) bits = Math.max(bits, used)
  if (bits === 0) bits = encoding === 'int16' ? 16 : FINEST_GRID_BITS
  let step = 1
  for (let bit = 1; bit < Math.min(bits, FINEST_GRID_BITS); bit++) step /= 2
  return step
}

function usedByIntegers(bytes: Uint8Array, first: number, frames: number, format: PcmFormat): number {
  const stride = bytesPerFrame(format)
  const width = BYTES_PER_SAMPLE[format.encoding]
  let low = 0
  let middle = 0
  let high = 0
  let top = 0
  for (let frame = 0, at = first; frame < frames; frame++, at += stride) {
    low |= bytes[at] as number
    middle |= bytes[at + 1] as number
    if (width > 2) high |= bytes[at + 2] as number
    if (width > 3) top |= bytes[at + 3] as number
  }
  const all = low | (middle << 8) | (high << 16) | (top << 24)
  if (all === 0) return 0
  return 8 * width - trailingZeros(all)
}

function trailingZeros(word: number): number {
  return 31 - Math.clz32(word & -word)
}

function usedByFloats(bytes: Uint8Array, first: number, frames: number, format: PcmFormat): number {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  const stride = bytesPerFrame(format)
  const isWide = format.encoding === 'float64'
  let bits = 0
  let scale = 0.5
  for (let frame = 0, at = first; frame < frames; frame++, at += stride) {
    const sample = isWide ? view.getFloat64(at, true) : view.getFloat32(at, true)
    if (sample === 0 || !Number.isFinite(sample)) continue
    while (sample * scale !== Math.floor(sample * scale)) {
      if (bits === FINEST_GRID_BITS) return OFF_GRID
      bits += 1
      scale *= 2
    }
  }
  return bits
}

function findNotFinite(stretch: Stretch, channel: number): Occurrences {
  const { format, bytes } = stretch.words
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  const stride = bytesPerFrame(format)
  const isWide = format.encoding === 'float64'
  const places: FrameRange[] = []
  let count = 0
  let endFrame = -1
  let startFrame = 0
  const first = channel * BYTES_PER_SAMPLE[format.encoding]
  for (let frame = 0, at = first; frame < stretch.frameCount; frame++, at += stride) {
    const sample = isWide ? view.getFloat64(at, true) : view.getFloat32(at, true)
    if (sample - sample === 0) continue
    count += 1
    if (frame !== endFrame) startFrame = frame
    else places.pop()
    endFrame = frame + 1
    const place = { startFrame: stretch.firstFrame + startFrame, endFrame: stretch.firstFrame + endFrame }
    if (places.length < MOST_PLACES) places.push(place)
  }
  return { count, places }
}

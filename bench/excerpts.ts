import {
  type AudioSource,
  bytesPerFrame,
  framesPerSegment,
  LAYOUTS,
  type LayoutName,
  type PcmFormat,
  type PlaneStore,
  type Segment,
  segmentAt,
} from '../src/domain/index.ts'
import { openPcm, probe } from '../src/media/index.ts'

const SEGMENTS = 4
/** Somewhere in the middle of ten minutes. */
const FIRST_SEGMENT = 10

/** Four segments (102.4 s) of a programme in memory, so that no stage waits for a disk. */
export function excerptOf(path: string): AudioSource {
  const { location } = probe(path)
  if (location === null) throw new Error(`${path} is no plain PCM`)
  const file = openPcm(location)
  const segmentFrames = framesPerSegment(location.format.sampleRateHz)
  const pcm = new Uint8Array(SEGMENTS * segmentFrames * bytesPerFrame(location.format))
  file.readInto(pcm, FIRST_SEGMENT * segmentFrames, SEGMENTS * segmentFrames)
  file.close()
  return sourceInMemory(pcm, location.layout, location.format)
}

/** Interleaved PCM in memory as a programme of its own. */
export function sourceInMemory(
  pcm: Uint8Array,
  layout: LayoutName,
  { encoding, sampleRateHz }: Pick<PcmFormat, 'encoding' | 'sampleRateHz'>,
): AudioSource {
  const format = { encoding, sampleRateHz, channelCount: LAYOUTS[layout].length }
  const frameBytes = bytesPerFrame(format)
  return {
    format,
    layout,
    frameCount: pcm.length / frameBytes,
    readInto(bytes, frame, count) {
      bytes.set(pcm.subarray(frame * frameBytes, (frame + count) * frameBytes))
    },
  }
}

export function segmentsOf({ frameCount, format }: AudioSource): readonly Segment[] {
  return Array.from({ length: SEGMENTS }, (_, index) => segmentAt(index, frameCount, format.sampleRateHz))
}

/** Scratch planes in memory. */
export function planesInMemory(planeCount: number, frameCount: number): PlaneStore {
  const planes = Array.from({ length: planeCount }, () => new Float32Array(frameCount))
  return {
    read(plane, frame, samples) {
      samples.set((planes[plane] as Float32Array).subarray(frame, frame + samples.length))
    },
    write(plane, frame, samples) {
      planes[plane]?.set(samples, frame)
    },
  }
}

import { execFileSync } from 'node:child_process'
import { type AudioSource, type LayoutName, type SpeechLane, segmentAt, segmentCount } from '../../src/domain/index.ts'
import type { Detector } from '../../src/engine/intake/detector.ts'
import { readStretch } from '../../src/engine/intake/stretch.ts'
import { loadKernels } from './kernels.ts'

const kernels = loadKernels()
const FFMPEG_BUFFER_BYTES = 1 << 30

/** Planes in channel order as a float32 programme. */
export function programmeOf(planes: readonly Float32Array[], layout: LayoutName, sampleRateHz = 48000): AudioSource {
  const channelCount = planes.length
  return {
    format: { encoding: 'float32', channelCount, sampleRateHz },
    layout,
    frameCount: planes[0]!.length,
    readInto(bytes, frameIndex, frameCount) {
      const out = bytes.byteOffset % 4 === 0 ? bytes : new Uint8Array(bytes.length)
      const samples = new Float32Array(out.buffer, out.byteOffset, frameCount * channelCount)
      for (const [channel, plane] of planes.entries()) {
        for (let n = 0; n < frameCount; n++) samples[n * channelCount + channel] = plane[frameIndex + n]!
      }
      if (out !== bytes) bytes.set(out)
    },
  }
}

/** What a detector says of a programme, segment by segment in one thread. */
export function inspectWith<Evidence, Conclusion>(
  detector: Detector<Evidence, Conclusion>,
  source: AudioSource,
  speech: SpeechLane | null = null,
): Conclusion {
  const { frameCount, layout } = source
  const { sampleRateHz } = source.format
  const evidence = Array.from({ length: segmentCount(frameCount, sampleRateHz) }, (_, index) => {
    const mark = kernels.arena.mark()
    const stretch = readStretch(kernels, source, segmentAt(index, frameCount, sampleRateHz))
    const seen = detector.observe(kernels, stretch)
    kernels.arena.release(mark)
    return seen
  })
  return detector.conclude(evidence, { layout, sampleRateHz, frameCount, speech })
}

/** A recording decoded and resampled by FFmpeg. */
export function recording(path: string, channelCount: number, sampleRateHz = 48000, seconds = 36000): Float32Array[] {
  const limits = ['-t', String(seconds), '-ac', String(channelCount), '-ar', String(sampleRateHz)]
  const args = ['-v', 'error', '-i', path, ...limits, '-f', 'f32le', '-']
  const bytes = execFileSync('ffmpeg', args, { maxBuffer: FFMPEG_BUFFER_BYTES })
  return deinterleaved(bytes, channelCount)
}

/** Raw float32 samples as planes. */
export function deinterleaved(bytes: Buffer, channelCount: number): Float32Array[] {
  const samples = new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length))
  return Array.from({ length: channelCount }, (_, channel) => {
    const plane = new Float32Array(samples.length / channelCount)
    for (let n = 0; n < plane.length; n++) plane[n] = samples[n * channelCount + channel]!
    return plane
  })
}

import {
  type AudioSource,
  BYTES_PER_SAMPLE,
  LAYOUTS,
  type LayoutName,
  type SampleEncoding,
} from '../../src/domain/index.ts'

/** A programme of planes in channel order (full scale = 1) as raw PCM in memory; integers are rounded, not dithered. */
export function sourceOf(
  planes: readonly Float64Array[],
  layout: LayoutName,
  sampleRateHz = 48000,
  encoding: SampleEncoding = 'float64',
): AudioSource {
  const channelCount = LAYOUTS[layout].length
  const frameCount = planes[0]?.length ?? 0
  const sampleBytes = BYTES_PER_SAMPLE[encoding]
  const pcm = Buffer.alloc(frameCount * channelCount * sampleBytes)
  const floats = encoding === 'float64' ? new Float64Array(pcm.buffer, pcm.byteOffset, frameCount * channelCount) : null
  for (const [channel, plane] of planes.entries()) {
    for (let frame = 0; frame < frameCount; frame++) {
      const index = frame * channelCount + channel
      const sample = plane[frame] as number
      if (floats === null) writeSample(pcm, index * sampleBytes, sample, encoding)
      else floats[index] = sample
    }
  }
  const frameBytes = channelCount * sampleBytes
  return {
    format: { encoding, channelCount, sampleRateHz },
    layout,
    frameCount,
    readInto(bytes, frameIndex, count) {
      bytes.set(pcm.subarray(frameIndex * frameBytes, (frameIndex + count) * frameBytes))
    },
  }
}

function writeSample(pcm: Buffer, at: number, sample: number, encoding: SampleEncoding): void {
  if (encoding === 'float32') pcm.writeFloatLE(sample, at)
  else if (encoding === 'float64') pcm.writeDoubleLE(sample, at)
  else {
    const bytes = BYTES_PER_SAMPLE[encoding]
    const highest = 2 ** (8 * bytes - 1)
    pcm.writeIntLE(Math.max(-highest, Math.min(highest - 1, Math.round(sample * highest))), at, bytes)
  }
}

/** The planes that a decoder makes of a source's PCM. */
export function planesOf(source: AudioSource): Float64Array[] {
  const { encoding, channelCount } = source.format
  const sampleBytes = BYTES_PER_SAMPLE[encoding]
  const pcm = Buffer.alloc(source.frameCount * channelCount * sampleBytes)
  source.readInto(pcm, 0, source.frameCount)
  const readSample = (at: number): number => {
    if (encoding === 'float32') return pcm.readFloatLE(at)
    if (encoding === 'float64') return pcm.readDoubleLE(at)
    return pcm.readIntLE(at, sampleBytes) / 2 ** (8 * sampleBytes - 1)
  }
  return Array.from({ length: channelCount }, (_, channel) =>
    Float64Array.from({ length: source.frameCount }, (_, frame) => {
      return readSample((frame * channelCount + channel) * sampleBytes)
    }),
  )
}

/** A programme in a stretch of silence-free noise-like samples, different in each channel, between -1 and 1. */
export function noisePlanes(channelCount: number, frameCount: number, random: () => number): Float64Array[] {
  return Array.from({ length: channelCount }, () => Float64Array.from({ length: frameCount }, () => 2 * random() - 1))
}

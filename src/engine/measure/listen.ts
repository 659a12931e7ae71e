import {
  type AudioSource,
  bytesPerFrame,
  type Cancellation,
  Cancelled,
  HOPS_PER_SECOND,
  LAYOUTS,
  type Segment,
  SPEECH_RATE_HZ,
} from '../../domain/index.ts'
import {
  decodeChannel,
  type Kernels,
  resampleForSpeech,
  resamplerShape,
  SPEECH_CHUNK_SAMPLES,
  SPEECH_LEAD_CHUNKS,
  speechProbabilities,
  takePlane,
  takeSpeechSignal,
} from '../../dsp/index.ts'

/** A network that hears one chunk after the other is late: a chunk tells of the 32 ms before it. */
const DELAY_CHUNKS = 1

const READ_SECONDS = 1
const CHUNKS_PER_HOP = SPEECH_RATE_HZ / HOPS_PER_SECOND / SPEECH_CHUNK_SAMPLES

/**
 * Listens for speech in one segment: the probability in each whole 100 ms, 0..255. Heard is the centre, where there is
 * none the mid of the two tracks. The same for any number of workers, because every segment starts from the same lead.
 * @param weights as `packSpeechWeights` lays them out
 */
export function listenToSegment(
  kernels: Kernels,
  weights: Float32Array,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
): Uint8Array {
  const { sampleRateHz } = source.format
  const mark = kernels.arena.mark()
  try {
    const chunkFrames = (SPEECH_CHUNK_SAMPLES * sampleRateHz) / SPEECH_RATE_HZ
    const leadChunks = segment.firstFrame === 0 ? 0 : SPEECH_LEAD_CHUNKS
    const chunkCount = leadChunks + Math.ceil(segment.frameCount / chunkFrames) + DELAY_CHUNKS
    const firstFrame = segment.firstFrame - leadChunks * chunkFrames
    const heard = takeHeard(kernels, source, firstFrame, Math.ceil(chunkCount * chunkFrames), cancellation)
    const signal = takeSpeechSignal(kernels, chunkCount)
    const samples = { address: signal.address, count: chunkCount * SPEECH_CHUNK_SAMPLES }
    resampleForSpeech(kernels, { address: heard, sampleRateHz }, samples)
    const probabilities = speechProbabilities(kernels, weights, signal, leadChunks)
    return toHops(probabilities, Math.floor((segment.frameCount * HOPS_PER_SECOND) / sampleRateHz))
  } finally {
    kernels.arena.release(mark)
  }
}

/** Decodes what is listened to into kernel memory; silence stands around the programme. Gives the address of its first frame. */
function takeHeard(
  kernels: Kernels,
  source: AudioSource,
  firstFrame: number,
  frameCount: number,
  cancellation: Cancellation | undefined,
): number {
  const { format, layout } = source
  const { sampleRateHz } = format
  const { reachFrames } = resamplerShape(sampleRateHz)
  const length = frameCount + 2 * reachFrames
  const heard = new Float32Array(kernels.memory.buffer, takePlane(kernels, length, false).address, length)
  const from = Math.max(0, firstFrame - reachFrames)
  const to = Math.min(source.frameCount, firstFrame + frameCount + reachFrames)
  const readFrames = READ_SECONDS * sampleRateHz
  const frameBytes = bytesPerFrame(format)
  const address = kernels.arena.take(readFrames * frameBytes)
  const roles = LAYOUTS[layout]
  const centre = roles.indexOf('C')
  const channels = centre >= 0 ? [centre] : roles.map((_, channel) => channel)
  const planes = channels.map(() => takePlane(kernels, readFrames, false))
  const decoded = planes.map((plane) => new Float32Array(kernels.memory.buffer, plane.address, readFrames))
  heard.fill(0)
  for (let frame = from; frame < to; frame += readFrames) {
    if (cancellation?.aborted) throw new Cancelled()
    const count = Math.min(readFrames, to - frame)
    source.readInto(new Uint8Array(kernels.memory.buffer, address, count * frameBytes), frame, count)
    for (const [index, plane] of planes.entries()) {
      decodeChannel(kernels, { address, format, frameCount: count }, channels[index] as number, plane, 0)
    }
    mixInto(heard.subarray(frame - firstFrame + reachFrames), decoded, count)
  }
  return heard.byteOffset + reachFrames * Float32Array.BYTES_PER_ELEMENT
}

/** The mean of the planes. */
function mixInto(heard: Float32Array, planes: readonly Float32Array[], count: number): void {
  const [left, right] = planes as [Float32Array, Float32Array?]
  if (right === undefined) heard.set(left.subarray(0, count))
  else for (let i = 0; i < count; i++) heard[i] = ((left[i] as number) + (right[i] as number)) / 2
}

/** Means over whole 100 ms of what the chunks of 32 ms say, weighted by how much of each lies there. */
function toHops(probabilities: Float32Array, hopCount: number): Uint8Array {
  return Uint8Array.from({ length: hopCount }, (_, hop) => {
    const [start, end] = [hop * CHUNKS_PER_HOP + DELAY_CHUNKS, (hop + 1) * CHUNKS_PER_HOP + DELAY_CHUNKS]
    let sum = 0
    for (let chunk = Math.floor(start); chunk < end; chunk++) {
      sum += (probabilities[chunk] as number) * (Math.min(end, chunk + 1) - Math.max(start, chunk))
    }
    return Math.round((sum / CHUNKS_PER_HOP) * HIGHEST_PROBABILITY)
  })
}

const HIGHEST_PROBABILITY = 255

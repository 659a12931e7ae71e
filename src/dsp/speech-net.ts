import { assert, type SpeechWeights } from '../domain/index.ts'
import type { Kernels } from './kernels.ts'

export interface SpeechNetExports {
  readonly speechWorkBytes: () => number
  readonly encodeSpeech: (samples: number, chunks: number, weights: number, work: number, encoded: number) => void
  readonly followSpeech: (
    encoded: number,
    from: number,
    to: number,
    weights: number,
    work: number,
    probabilities: number,
  ) => void
}

/** The network gives one probability for each 512 samples: 32 ms at 16 kHz. */
export const SPEECH_CHUNK_SAMPLES = 512

/** Samples that the network looks back from the beginning of a chunk. */
const CONTEXT_SAMPLES = 64

/**
 * The network forgets after so many chunks (3.2 s) and hears half as many again before: over long music its state
 * drifts, and it misses what is said then.
 * @source docs/decisions/0017: recall of voices as loud as the music .88 instead of .79
 */
export const SPEECH_WINDOW_CHUNKS = 100
export const SPEECH_LEAD_CHUNKS = 50

const STATE = 128
const GATES = 4 * STATE
/** Outputs that the kernel computes at once. */
const PANEL = 8
const BINS = 129
/** 129 bins padded to whole panels of eight. */
const PADDED_BINS = 136
const FRAME_SAMPLES = 256
/** The last of the four frames reaches 64 samples beyond its chunk: there the network reflects the chunk's end. */
const LAST_FRAME_SAMPLES = 192

/**
 * Lays the weights out as the kernel reads them: matrices in panels of eight outputs, `[panel][input][8]`, in the
 * order of its layers. The reflection at a chunk's end is folded into the transform of the last frame.
 */
export function packSpeechWeights({ spectrum, encoder, inputGates, stateGates, output }: SpeechWeights): Float32Array {
  const [first, second, third, fourth] = encoder
  const basis = (row: number, sample: number) =>
    row % PADDED_BINS < BINS
      ? at(spectrum, (row < PADDED_BINS ? row : row - PADDED_BINS + BINS) * FRAME_SAMPLES + sample)
      : 0
  const lastBasis = (row: number, sample: number) => {
    const mirrored = 2 * (LAST_FRAME_SAMPLES - 1) - sample
    const isMirrored = mirrored >= LAST_FRAME_SAMPLES && mirrored < FRAME_SAMPLES
    return basis(row, sample) + (isMirrored ? basis(row, mirrored) : 0)
  }
  const convolution =
    (weight: Float32Array, inputs: number, padded: number, firstTap: number) => (row: number, input: number) => {
      const [tap, channel] = [firstTap + Math.floor(input / padded), input % padded]
      return channel < inputs ? at(weight, (row * inputs + channel) * 3 + tap) : 0
    }
  const dense = (weight: Float32Array) => (row: number, input: number) => at(weight, row * STATE + input)
  return joined([
    panels(2 * PADDED_BINS, FRAME_SAMPLES, basis),
    panels(2 * PADDED_BINS, LAST_FRAME_SAMPLES, lastBasis),
    panels(128, 3 * PADDED_BINS, convolution(first.weight, BINS, PADDED_BINS, 0)),
    first.bias,
    panels(64, 3 * 128, convolution(second.weight, 128, 128, 0)),
    second.bias,
    // Two frames are left, and only the first output of the third layer is there: its first tap meets nothing.
    panels(64, 2 * 64, convolution(third.weight, 64, 64, 1)),
    third.bias,
    panels(128, 64, convolution(fourth.weight, 64, 64, 1)),
    fourth.bias,
    panels(4 * STATE, STATE, dense(inputGates.weight)),
    inputGates.bias.map((bias, gate) => bias + at(stateGates.bias, gate)),
    panels(4 * STATE, STATE, dense(stateGates.weight)),
    output.weight,
    output.bias,
  ])
}

function at(weights: Float32Array, index: number): number {
  return weights[index] as number
}

function panels(outputs: number, inputs: number, weight: (output: number, input: number) => number): Float32Array {
  const packed = new Float32Array(outputs * inputs)
  let next = 0
  for (let panel = 0; panel < outputs; panel += PANEL) {
    for (let input = 0; input < inputs; input++) {
      for (let output = panel; output < panel + PANEL; output++) packed[next++] = weight(output, input)
    }
  }
  return packed
}

function joined(parts: readonly Float32Array[]): Float32Array {
  const whole = new Float32Array(parts.reduce((sum, part) => sum + part.length, 0))
  let next = 0
  for (const part of parts) {
    whole.set(part, next)
    next += part.length
  }
  return whole
}

/** A signal at 16 kHz in kernel memory, with room for the network to look around. */
export type SpeechSignal = {
  /** Address of the first sample of the first chunk. */
  readonly address: number
  readonly chunkCount: number
}

/** Takes memory for whole chunks at 16 kHz, and silences it. */
export function takeSpeechSignal(kernels: Kernels, chunkCount: number): SpeechSignal {
  const samples = CONTEXT_SAMPLES + (chunkCount + 3) * SPEECH_CHUNK_SAMPLES
  const start = kernels.arena.take(samples * Float32Array.BYTES_PER_ELEMENT)
  new Float32Array(kernels.memory.buffer, start, samples).fill(0)
  return { address: start + CONTEXT_SAMPLES * Float32Array.BYTES_PER_ELEMENT, chunkCount }
}

/**
 * Probability of speech, 0..1, in each chunk of a signal at 16 kHz from `firstChunk` on, which is where a window begins;
 * the chunks before it are its lead. Takes its memory from the arena and gives it back.
 * @param weights as `packSpeechWeights` lays them out
 * @source docs/decisions/0017: Silero VAD v6
 */
export function speechProbabilities(
  kernels: Kernels,
  weights: Float32Array,
  { address, chunkCount }: SpeechSignal,
  firstChunk: number,
): Float32Array {
  const { arena, exports, memory } = kernels
  const mark = arena.mark()
  try {
    const take = (floats: number) => arena.take(floats * Float32Array.BYTES_PER_ELEMENT)
    const network = take(weights.length)
    new Float32Array(memory.buffer, network, weights.length).set(weights)
    const work = arena.take(exports.speechWorkBytes())
    const encoded = take((chunkCount + 4) * GATES)
    const probabilities = take(chunkCount)
    const context = address - CONTEXT_SAMPLES * Float32Array.BYTES_PER_ELEMENT
    exports.encodeSpeech(context, chunkCount, network, work, encoded)
    // Window by window: each writes over what the lead of the next one will write again, and is copied before.
    const heard = new Float32Array(chunkCount - firstChunk)
    for (let from = firstChunk; from < chunkCount; from += SPEECH_WINDOW_CHUNKS) {
      const to = Math.min(chunkCount, from + SPEECH_WINDOW_CHUNKS)
      exports.followSpeech(encoded, Math.max(0, from - SPEECH_LEAD_CHUNKS), to, network, work, probabilities)
      heard.set(new Float32Array(memory.buffer, probabilities, chunkCount).subarray(from, to), from - firstChunk)
    }
    assert(heard.every(Number.isFinite), 'a probability of speech is a number')
    return heard
  } finally {
    arena.release(mark)
  }
}

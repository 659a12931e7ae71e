import { framesPerHop } from './grid.ts'

/** Where there is speech, found by the speech detector on the centre (multichannel) or the mid (two-track). */
export type SpeechLane = {
  /** Probability of speech in each whole 100 ms hop, 0..255; quantised before it steers anything. */
  readonly probability100ms: Uint8Array
  /** 1 where the hop counts as speech. */
  readonly isSpeech100ms: Uint8Array
  /** SHA-256 of the model that listened. */
  readonly modelSha256: string
}

/**
 * The model that the thresholds were chosen for.
 * @source silero_vad_v6.onnx of the npm package @ricky0123/vad-web 0.0.31; docs/decisions/0017
 */
export const SPEECH_MODEL_SHA256 = '1a153a22f4509e292a94e67d6f9b85e8deb25b4988682b7e174c65279d8788e3'

/** The rate at which the detector listens. */
export const SPEECH_RATE_HZ = 16000

/** One layer of the detector's network: `[output][input][tap]` and one bias for each output. */
export type NetworkLayer = { readonly weight: Float32Array; readonly bias: Float32Array }

/**
 * The weights of the detector's network as its makers publish them.
 * @source docs/decisions/0017
 */
export type SpeechWeights = {
  /** 129 real and 129 imaginary parts of a windowed transform, 256 samples each. */
  readonly spectrum: Float32Array
  /** Convolutions over three frames: 129 to 128, 128 to 64, 64 to 64, 64 to 128 channels. */
  readonly encoder: readonly [NetworkLayer, NetworkLayer, NetworkLayer, NetworkLayer]
  /** Gates of 128 units from the input and from the state, 512 x 128 each: input, forget, cell, output. */
  readonly inputGates: NetworkLayer
  readonly stateGates: NetworkLayer
  /** From the 128 units to one number. */
  readonly output: NetworkLayer
}

/** Joins what the detector said of the segments of a programme, in their order, and marks the hops that are speech. */
export function speechLane(segments: readonly Uint8Array[]): SpeechLane {
  const probability100ms = new Uint8Array(segments.reduce((sum, segment) => sum + segment.length, 0))
  let next = 0
  for (const segment of segments) {
    probability100ms.set(segment, next)
    next += segment.length
  }
  return { probability100ms, isSpeech100ms: markSpeech(probability100ms), modelSha256: SPEECH_MODEL_SHA256 }
}

/**
 * A line of dialogue is a run above the lower bound that somewhere reaches the upper one, and is not shorter than 0.5 s.
 * Gaps of up to 0.3 s belong to it. Chosen on real voices over real music.
 * @source docs/speech-quality.md
 */
const SURE = 110
const POSSIBLE = 40
const SHORTEST_LINE_HOPS = 5
const LONGEST_GAP_HOPS = 3

/** From here on a voice sounds; what is softer inside a line is a pause or its echo. */
const SOUNDS = 60

function markSpeech(probability100ms: Uint8Array): Uint8Array {
  const isSpeech = new Uint8Array(probability100ms.length)
  let lineEnd = Number.NEGATIVE_INFINITY
  for (let first = 0; first < probability100ms.length; ) {
    let end = first
    let highest = 0
    while (end < probability100ms.length && (probability100ms[end] as number) >= POSSIBLE) {
      highest = Math.max(highest, probability100ms[end] as number)
      end += 1
    }
    if (highest >= SURE && end - first >= SHORTEST_LINE_HOPS) {
      isSpeech.fill(1, first - lineEnd <= LONGEST_GAP_HOPS ? lineEnd : first, end)
      lineEnd = end
    }
    first = end + 1
  }
  return isSpeech
}

/** The hops of the lines in which a voice sounds: dialogue loudness is the mean over these. */
export function spokenHops({ isSpeech100ms, probability100ms }: SpeechLane): Uint8Array {
  return isSpeech100ms.map((isSpeech, hop) => ((probability100ms[hop] as number) >= SOUNDS ? isSpeech : 0))
}

/**
 * How surely a voice sounds in each 100 ms, 0..255, for what follows it in sound: 0 outside of lines, and in a line the
 * surest of a hop and its two neighbours, because a word begins anywhere inside a hop.
 */
export function voiceOf({ isSpeech100ms, probability100ms }: SpeechLane): readonly number[] {
  const inLine = Array.from(probability100ms, (probability, hop) => (isSpeech100ms[hop] === 1 ? probability : 0))
  return inLine.map((own, hop) => Math.max(own, inLine[hop - 1] ?? 0, inLine[hop + 1] ?? 0))
}

/** How surely a voice sounds at a frame of the programme, 0..1: straight lines between the middles of the hops. */
export function voiceAt(voice100ms: readonly number[], sampleRateHz: number, frame: number): number {
  const at = frame / framesPerHop(sampleRateHz) - 0.5
  const before = Math.floor(at)
  const [from, to] = [voice100ms[before] ?? 0, voice100ms[before + 1] ?? 0]
  return (from + (at - before) * (to - from)) / 255
}

import { assert, BYTES_PER_SAMPLE, bytesPerFrame, type PcmFormat, type Role } from '../domain/index.ts'
import { bytesPerPlaneSample, type Plane } from './decode.ts'
import type { Kernels } from './kernels.ts'

export interface WordsExports {
  readonly quantiseLine: (
    plane: number,
    isWide: number,
    gain: number,
    frameCount: number,
    fullScale: number,
    dither: number,
    key0: number,
    key1: number,
    frame: number,
    words: number,
  ) => number
  readonly deriveFront: (
    stereo: number,
    centre: number,
    surround: number,
    frameCount: number,
    fullScale: number,
    front: number,
    counts: number,
  ) => number
  readonly deriveSpreadFronts: (
    lo: number,
    ro: number,
    centre: number,
    left: number,
    right: number,
    frameCount: number,
    fullScale: number,
    spreads: number,
    frontLeft: number,
    frontRight: number,
  ) => number
  readonly addToFold: (sums: number, words: number, weight: number, frameCount: number, isFirst: number) => void
  readonly roundFold: (sums: number, frameCount: number, fullScale: number, words: number) => number
  readonly packPair: (
    left: number,
    right: number,
    frameCount: number,
    bytesPerWord: number,
    frameBytes: number,
    first: number,
  ) => void
  readonly packLine: (
    words: number,
    frameCount: number,
    bytesPerWord: number,
    frameBytes: number,
    first: number,
  ) => void
}

/** The word lengths that Plimsoll delivers. */
export type WordEncoding = 'int16' | 'int24'

/** When triangular dither is added: `unless-unity` leaves a frame whose gain is exactly 1 as it is. */
export type DitherRule = 'never' | 'always' | 'unless-unity'
const KERNEL_DITHER: Readonly<Record<DitherRule, number>> = { never: 0, always: 1, 'unless-unity': 2 }

/** Steps of the word from 0 to full scale. */
export function stepsToFullScale(encoding: WordEncoding): number {
  return encoding === 'int16' ? 32768 : 8388608
}

/** Frames that the word stage handles at once. */
export const WORD_LINE_FRAMES = 4096

const TWO_TO_32 = 4294967296

/** Frames from `frame` on, at most `wanted`, that may share a line: dither keys change every 2^32 frames. */
export function wordLineFrames(frame: number, wanted: number): number {
  return Math.min(WORD_LINE_FRAMES, wanted, TWO_TO_32 - (frame % TWO_TO_32))
}

/** Takes memory for one line of words of one channel. */
export function takeWordLine(kernels: Kernels): number {
  return kernels.arena.take(WORD_LINE_FRAMES * 4)
}

/** Dither channels; the same frame and seed give each an independent noise. */
const DITHER_CHANNELS: readonly Role[] = ['M', 'L', 'R', 'C', 'LFE', 'Ls', 'Rs', 'Lrs', 'Rrs']

function mixBits(value: number): number {
  let h = value | 0
  h = Math.imul(h ^ (h >>> 16), 0x7feb352d)
  h = Math.imul(h ^ (h >>> 15), 0x846ca68b)
  return h ^ (h >>> 16)
}

function ditherKeys(seed: readonly [number, number], role: Role, frame: number): readonly [number, number] {
  const channel = DITHER_CHANNELS.indexOf(role) + 1
  const key = mixBits(seed[0] ^ mixBits(channel) ^ mixBits(Math.floor(frame / TWO_TO_32) + 0x51ed270b))
  return [key, mixBits(seed[1] ^ mixBits(key + channel))]
}

/** One channel of a line to be quantised. */
export type LineToQuantise = {
  readonly plane: Plane
  /** First frame of the line inside the plane. */
  readonly planeFrame: number
  /** Address of the gain of the line's first frame (float64, linear). */
  readonly gain: number
  readonly role: Role
  /** First frame of the line in the programme, a multiple of 4. */
  readonly frame: number
  readonly frameCount: number
}

/**
 * Samples x gain to words: rounded half up, or with triangular dither of one step peak that depends on the seed, the
 * channel and the frame's number alone. Gives back how many samples did not fit the word and were held at its end.
 * @source dither: Lipshitz, Wannamaker & Vanderkooy, JAES 40(5), 1992 (from memory)
 */
export function quantise(
  kernels: Kernels,
  line: LineToQuantise,
  encoding: WordEncoding,
  dither: DitherRule,
  seed: readonly [number, number],
  words: number,
): number {
  assert(line.frame % 4 === 0, 'a line of words starts at a multiple of four frames')
  const [key0, key1] = ditherKeys(seed, line.role, line.frame)
  return kernels.exports.quantiseLine(
    line.plane.address + line.planeFrame * bytesPerPlaneSample(line.plane),
    line.plane.isWide ? 1 : 0,
    line.gain,
    line.frameCount,
    stepsToFullScale(encoding),
    KERNEL_DITHER[dither],
    key0,
    key1,
    (line.frame % TWO_TO_32) | 0,
    words,
  )
}

/** Writes one line of words as channel `channel` of interleaved PCM at `pcm` in kernel memory. */
export function packWords(
  kernels: Kernels,
  words: number,
  frameCount: number,
  format: PcmFormat,
  channel: number,
  pcm: number,
): void {
  const bytesPerWord = BYTES_PER_SAMPLE[format.encoding]
  kernels.exports.packLine(words, frameCount, bytesPerWord, bytesPerFrame(format), pcm + channel * bytesPerWord)
}

/** Writes a line of words for every channel of interleaved PCM; a channel without a line is left as it is. */
export function packFrames(
  kernels: Kernels,
  lines: readonly (number | undefined)[],
  frameCount: number,
  format: PcmFormat,
  pcm: number,
): void {
  const bytesPerWord = BYTES_PER_SAMPLE[format.encoding]
  for (let channel = 0; channel < lines.length; channel++) {
    const [words, next] = [lines[channel], lines[channel + 1]]
    if (words === undefined) continue
    if (next === undefined) packWords(kernels, words, frameCount, format, channel, pcm)
    else {
      const first = pcm + channel * bytesPerWord
      kernels.exports.packPair(words, next, frameCount, bytesPerWord, bytesPerFrame(format), first)
      channel++
    }
  }
}

/** Lines of one channel each, in kernel memory. */
export type FrontLines = {
  readonly stereo: readonly [number, number]
  readonly centre: number
  readonly surrounds: readonly [number, number]
  readonly fronts: readonly [number, number]
}

/** What the derivation of fronts came upon; counts of samples. */
export type FrontCounts = { readonly overs: number; readonly nearTies: number }

/**
 * Fronts by subtraction from the words themselves: L = Lo - k (C + Ls), R = Ro - k (C + Rs), rounded half up, so that
 * the Lo/Ro fold-down of the six words, rounded, is the stereo word again. Within 2^-20 of a rounding tie the surround
 * word moves by one step first. A `spread` other than 1 (one for all, or one a frame) scales the side of the fronts and
 * gives that property up.
 * @source ITU-R BS.775-4 Table 2 (fold-down); docs/decisions/0008 (derivation)
 */
export function deriveFronts(
  kernels: Kernels,
  lines: FrontLines,
  frameCount: number,
  encoding: WordEncoding,
  spread: number | Float64Array,
): FrontCounts {
  const { exports, arena, memory } = kernels
  const { stereo, centre, surrounds, fronts } = lines
  const fullScale = stepsToFullScale(encoding)
  const mark = arena.mark()
  if (spread !== 1) {
    const spreads = new Float64Array(memory.buffer, arena.take(8 * frameCount), frameCount)
    if (typeof spread === 'number') spreads.fill(spread)
    else spreads.set(spread)
    const overs = exports.deriveSpreadFronts(
      stereo[0],
      stereo[1],
      centre,
      surrounds[0],
      surrounds[1],
      frameCount,
      fullScale,
      spreads.byteOffset,
      fronts[0],
      fronts[1],
    )
    arena.release(mark)
    return { overs, nearTies: 0 }
  }
  const counts = arena.take(4)
  const nearTies = new Int32Array(memory.buffer, counts, 1).fill(0)
  let overs = exports.deriveFront(stereo[0], centre, surrounds[0], frameCount, fullScale, fronts[0], counts)
  overs += exports.deriveFront(stereo[1], centre, surrounds[1], frameCount, fullScale, fronts[1], counts)
  arena.release(mark)
  return { overs, nearTies: nearTies[0] as number }
}

/** One side of a fold-down: lines of words and their weights, in channel order. */
export type FoldTerms = readonly { readonly words: number; readonly weight: number }[]

/** The weighted sum of words, rounded half up; gives back how many did not fit and were held at the word's end. */
export function foldWords(
  kernels: Kernels,
  terms: FoldTerms,
  frameCount: number,
  encoding: WordEncoding,
  words: number,
): number {
  const { exports, arena } = kernels
  const mark = arena.mark()
  const sums = arena.take(WORD_LINE_FRAMES * 8)
  terms.forEach((term, index) => {
    exports.addToFold(sums, term.words, term.weight, frameCount, index === 0 ? 1 : 0)
  })
  const overs = exports.roundFold(sums, frameCount, stepsToFullScale(encoding), words)
  arena.release(mark)
  return overs
}

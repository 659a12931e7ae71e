import {
  areBandsAtWork,
  bandTreatments,
  bytesPerFrame,
  foldDownCoefficients,
  frontSpreadOver,
  hasFoldDown,
  LAYOUTS,
  type LayoutName,
  type PcmFormat,
  type Role,
  type Segment,
} from '../../domain/index.ts'
import {
  type DitherRule,
  deriveFronts,
  deriveMatrixFronts,
  type FrontLines,
  foldWords,
  type Kernels,
  type Plane,
  packFrames,
  quantise,
  takeWordLine,
  wordLineFrames,
} from '../../dsp/index.ts'
import type { RenderJob } from './segment.ts'
import type { Planes, Stretch } from './stretch.ts'

/** Everything that the words of a segment are made from. */
export type Gained = {
  readonly planes: Planes
  readonly stretch: Stretch
  /** Addresses of the total gains of the stretch (float64, linear). */
  readonly gain: number
  readonly lfeGain: number
  /** Whether a ceiling of its own changed some channel in these frames of the programme; null: nowhere. */
  readonly isLimitedApart: ((firstFrame: number, frameCount: number) => boolean) | null
}

export type SegmentWords = {
  readonly multichannel: Uint8Array
  readonly stereo: Uint8Array | null
  /** Samples that did not fit the word and were held at its end. */
  readonly overs: number
  /** Surround words moved by one step because a front lay on a rounding tie. */
  readonly nearTies: number
}

/** Addresses of the lines of words; an upmix without LFE has none for it. */
type Lines = Readonly<Record<Role | 'Lo' | 'Ro', number>>
/** A line of the segment: where it starts in the segment, and how long it is. */
type LineSpan = { readonly offset: number; readonly frameCount: number }

const STEREO: readonly ('Lo' | 'Ro')[] = ['Lo', 'Ro']

/** The one quantisation of a render: interleaved words of a segment, and the stereo that is its fold-down. */
export function quantiseSegment(
  kernels: Kernels,
  job: RenderJob,
  segment: Segment,
  gained: Gained,
  room: WordsRoom,
): SegmentWords {
  const mark = kernels.arena.mark()
  const layout: LayoutName = job.upmixed === null ? job.source.layout : '5.1'
  const roles = LAYOUTS[layout].filter((role) => gained.planes[role] !== undefined)
  const lines = Object.fromEntries([...roles, ...STEREO].map((name) => [name, takeWordLine(kernels)])) as Lines
  const writeMultichannel = writer(kernels, job, LAYOUTS[layout], room.multichannel)
  const writeStereo = room.stereo === null ? null : writer(kernels, job, STEREO, room.stereo)
  let overs = 0
  let nearTies = 0
  for (let offset = 0; offset < segment.frameCount; ) {
    const frameCount = wordLineFrames(segment.firstFrame + offset, segment.frameCount - offset)
    const span = { offset, frameCount }
    if (job.upmixed !== null) {
      const counts = upmixLines(kernels, job, segment, gained, lines, span)
      overs += counts.overs
      nearTies += counts.nearTies
    } else {
      overs += nativeLines(kernels, job, segment, gained, lines, span)
      if (writeStereo !== null) overs += foldLines(kernels, job, layout, lines, frameCount)
    }
    writeMultichannel(lines, span)
    writeStereo?.(lines, span)
    offset += frameCount
  }
  kernels.arena.release(mark)
  return { ...room, overs, nearTies }
}

function quantiseRole(
  kernels: Kernels,
  job: RenderJob,
  segment: Segment,
  gained: Gained,
  role: Role,
  dither: DitherRule,
  words: number,
  span: LineSpan,
): number {
  const planeFrame = segment.firstFrame + span.offset - gained.stretch.firstFrame
  const line = {
    plane: gained.planes[role] as Plane,
    planeFrame,
    gain: (role === 'LFE' ? gained.lfeGain : gained.gain) + planeFrame * 8,
    role,
    frame: segment.firstFrame + span.offset,
    frameCount: span.frameCount,
  }
  return quantise(kernels, line, job.encoding, dither, job.ditherSeed, words)
}

/** Dither only where words get shorter: never at 24 bit, nor where a 16-bit sample is passed on as it is. */
function sourceDither(job: RenderJob, segment: Segment, { isLimitedApart }: Gained, span: LineSpan): DitherRule {
  if (job.encoding === 'int24') return 'never'
  const { sampleRateHz } = job.source.format
  const frames = { firstFrame: segment.firstFrame + span.offset, frameCount: span.frameCount, sampleRateHz }
  if (bandTreatments(job.gain).some((plan) => areBandsAtWork(plan, frames))) return 'always'
  if (isLimitedApart?.(frames.firstFrame, frames.frameCount)) return 'always'
  return job.source.format.encoding === 'int16' ? 'unless-unity' : 'always'
}

function upmixLines(
  kernels: Kernels,
  job: RenderJob,
  segment: Segment,
  gained: Gained,
  lines: Lines,
  span: LineSpan,
): { overs: number; nearTies: number } {
  const put = (role: Role, dither: DitherRule, words: number) =>
    quantiseRole(kernels, job, segment, gained, role, dither, words, span)
  const stereoDither = sourceDither(job, segment, gained, span)
  const derivedDither = job.encoding === 'int24' ? 'never' : 'always'
  let overs = put('L', stereoDither, lines.Lo) + put('R', stereoDither, lines.Ro)
  for (const role of ['C', 'Ls', 'Rs'] as const) overs += put(role, derivedDither, lines[role])
  if (job.hasLfe) overs += put('LFE', derivedDither, lines.LFE)
  const { frameCount } = span
  const of: FrontLines = {
    stereo: [lines.Lo, lines.Ro],
    centre: lines.C,
    surrounds: [lines.Ls, lines.Rs],
    fronts: [lines.L, lines.R],
  }
  const spread = frontSpreadOver(job.frontSpread, segment.firstFrame + span.offset, frameCount)
  const fronts = job.isLtRt
    ? deriveMatrixFronts(kernels, of, frameCount, job.encoding)
    : deriveFronts(kernels, of, frameCount, job.encoding, spread)
  return { overs: overs + fronts.overs, nearTies: fronts.nearTies }
}

function nativeLines(
  kernels: Kernels,
  job: RenderJob,
  segment: Segment,
  gained: Gained,
  lines: Lines,
  span: LineSpan,
): number {
  const dither = sourceDither(job, segment, gained, span)
  let overs = 0
  for (const role of LAYOUTS[job.source.layout]) {
    overs += quantiseRole(kernels, job, segment, gained, role, dither, lines[role], span)
  }
  return overs
}

/** The fold-down of the words as they were written, so that anybody can compute it again from the file. */
function foldLines(kernels: Kernels, job: RenderJob, layout: LayoutName, lines: Lines, frameCount: number): number {
  const coefficients = foldDownCoefficients(layout)
  let overs = 0
  for (const side of [0, 1] as const) {
    const terms = LAYOUTS[layout]
      .map((role, channel) => ({
        words: lines[role],
        weight: (coefficients[channel] as readonly number[])[side] as number,
      }))
      .filter(({ weight }) => weight !== 0)
    overs += foldWords(kernels, terms, frameCount, job.encoding, side === 0 ? lines.Lo : lines.Ro)
  }
  return overs
}

/** Where the words of a segment go, in kernel memory. */
export type WordsRoom = Pick<SegmentWords, 'multichannel' | 'stereo'>

/** Takes kernel memory for the words of a segment, all of them digital silence. */
export function takeWords(kernels: Kernels, job: RenderJob, segment: Segment): WordsRoom {
  const layout: LayoutName = job.upmixed === null ? job.source.layout : '5.1'
  const isStereoMade = job.stereo && (job.upmixed !== null || hasFoldDown(layout))
  const take = (channelCount: number) => {
    const byteCount = segment.frameCount * bytesPerFrame(formatOf(job, channelCount))
    return new Uint8Array(kernels.memory.buffer, kernels.arena.take(byteCount), byteCount).fill(0)
  }
  return { multichannel: take(LAYOUTS[layout].length), stereo: isStereoMade ? take(STEREO.length) : null }
}

/** Interleaves lines of words into the bytes of the segment; a channel without a line stays digital silence. */
function writer(kernels: Kernels, job: RenderJob, names: readonly (Role | 'Lo' | 'Ro')[], bytes: Uint8Array) {
  const format = formatOf(job, names.length)
  return (lines: Lines, { offset, frameCount }: LineSpan): void => {
    const wordLines = names.map((name) => lines[name])
    packFrames(kernels, wordLines, frameCount, format, bytes.byteOffset + offset * bytesPerFrame(format))
  }
}

function formatOf(job: RenderJob, channelCount: number): PcmFormat {
  return { encoding: job.encoding, channelCount, sampleRateHz: job.source.format.sampleRateHz }
}

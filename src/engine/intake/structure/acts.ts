import { type FoundTone, type FrameRange, type FrameRateName, framesPerFineHop } from '../../../domain/index.ts'
import { twoSeconds } from './frame-rate.ts'

/** Silence of this length parts two acts: black from black, and noise where the whole master has it. */
const SHORTEST_BLACK_BREAK_SECONDS = 2
const SHORTEST_NOISY_BREAK_SECONDS = 4
/** A slate is spoken or beeped in a few seconds between tone and picture (common practice). */
const LONGEST_SLATE_SECONDS = 30
/** How far behind a tone, or before a pop, a slate stands. */
const SLATE_REACH_SECONDS = 60
/** What follows a slate is longer by so much. */
const SLATE_RATIO = 3
/** The first sound stands 2 s behind the start of the 2-pop, or later where the action begins in silence. */
const EARLIEST_ACTION_SECONDS = 1.9
const LATEST_ACTION_SECONDS = 12
/** The first sound is cut to the picture where it lies this close to two seconds behind the pop. */
const CUT_TOLERANCE_SECONDS = 0.001

/** One uninterrupted piece of action or slate: sounds that no break, tone or pop parts. */
export type Act = FrameRange & {
  readonly kind: 'programme' | 'slate'
  /** The pop two seconds before its first frame, and the one two seconds behind its last. */
  readonly headPop: FoundTone | null
  readonly tailPop: FoundTone | null
  /** First sound in it; later than its start where the action begins in silence. */
  readonly firstSound: number
}

export type Found = {
  readonly sounds: readonly FrameRange[]
  readonly black: readonly FrameRange[]
  readonly tones: readonly FoundTone[]
  readonly beeps: readonly FoundTone[]
  readonly sampleRateHz: number
  /** Picture rate that the pops' lengths name, null where they do not. */
  readonly rate: FrameRateName | null
}

export function findActs(found: Found): Act[] {
  const blocks = joinSounds(found)
  const kinds = blocks.map((block, index) => (isSlate(block, blocks.slice(index + 1), found) ? 'slate' : 'programme'))
  return blocks.map((block, index) => {
    const kind = kinds[index]!
    if (kind === 'slate') return { ...block, kind, headPop: null, tailPop: null, firstSound: block.startFrame }
    const before = blocks[index - 1]?.endFrame ?? 0
    const next = blocks[index + 1]?.startFrame ?? Number.POSITIVE_INFINITY
    return { ...withPops(block, before, next, found), kind }
  })
}

function joinSounds({ sounds, black, tones, beeps, sampleRateHz }: Found): FrameRange[] {
  const blocks: FrameRange[] = []
  for (const sound of sounds) {
    const last = blocks.at(-1)
    const gap = last === undefined ? null : { startFrame: last.endFrame, endFrame: sound.startFrame }
    const isParted =
      gap === null ||
      [...tones, ...beeps.filter((beep) => beep.kind === 'pop')].some((tone) => overlap(tone, gap) > 0) ||
      black.some((range) => overlap(range, gap) >= SHORTEST_BLACK_BREAK_SECONDS * sampleRateHz) ||
      gap.endFrame - gap.startFrame >= SHORTEST_NOISY_BREAK_SECONDS * sampleRateHz
    if (isParted) blocks.push(sound)
    else blocks[blocks.length - 1] = { startFrame: last!.startFrame, endFrame: sound.endFrame }
  }
  return blocks
}

export function overlap(a: FrameRange, b: FrameRange): number {
  return Math.max(0, Math.min(a.endFrame, b.endFrame) - Math.max(a.startFrame, b.startFrame))
}

function isSlate(block: FrameRange, later: readonly FrameRange[], { tones, beeps, sampleRateHz }: Found): boolean {
  const length = block.endFrame - block.startFrame
  if (length > LONGEST_SLATE_SECONDS * sampleRateHz) return false
  if (!later.some((next) => next.endFrame - next.startFrame > SLATE_RATIO * length)) return false
  const reach = SLATE_REACH_SECONDS * sampleRateHz
  const tone = tones.findLast(({ endFrame }) => endFrame <= block.startFrame + 1)
  const isBehindTone = tone !== undefined && block.startFrame - tone.endFrame < reach
  const next = later[0]!.startFrame
  const isBeforePop = beeps.some((beep) => beep.startFrame >= block.endFrame && beep.endFrame <= next)
  const gap = next - block.endFrame
  return isBehindTone && (isBeforePop || gap >= sampleRateHz)
}

function withPops(block: FrameRange, before: number, next: number, found: Found): Omit<Act, 'kind'> {
  const { beeps, sampleRateHz } = found
  const pops = beeps.filter(({ kind }) => kind === 'pop')
  const earliest = EARLIEST_ACTION_SECONDS * sampleRateHz
  const latest = LATEST_ACTION_SECONDS * sampleRateHz
  const headPop = pops.findLast(
    ({ startFrame, endFrame }) =>
      startFrame >= before && block.startFrame - startFrame >= earliest && block.startFrame - endFrame <= latest,
  )
  // A pop behind an act that leads the next one in is that one's, unless it stands nearer to this one's end.
  const tailPop = pops.find(
    ({ startFrame, endFrame }) =>
      startFrame - block.endFrame >= earliest - sampleRateHz * 0.1 &&
      startFrame - block.endFrame <= latest &&
      endFrame <= next &&
      (next - startFrame > latest || startFrame - block.endFrame < next - startFrame),
  )
  const head = headPop === undefined ? null : headPop.startFrame + leadIn(headPop, block.startFrame, found)
  const tail = tailPop === undefined ? null : tailPop.startFrame - twoSeconds(found.rate ?? '24', sampleRateHz)
  const hop = framesPerFineHop(sampleRateHz)
  return {
    startFrame: head === null || block.startFrame < head - hop ? block.startFrame : head,
    endFrame: tail === null || block.endFrame > tail + hop ? block.endFrame : tail,
    headPop: headPop ?? null,
    tailPop: tailPop ?? null,
    firstSound: block.startFrame,
  }
}

/** Two seconds of pictures, 2.000 or 2.002 s: as the cut of the first sound says, else as the pop's length does. */
function leadIn(pop: FoundTone, firstSound: number, { sampleRateHz, rate }: Found): number {
  const lengths = [twoSeconds('24', sampleRateHz), twoSeconds('23.976', sampleRateHz)] as const
  const distance = firstSound - pop.startFrame
  const cut = lengths.toSorted((a, b) => Math.abs(distance - a) - Math.abs(distance - b))[0]!
  if (Math.abs(distance - cut) <= (CUT_TOLERANCE_SECONDS * sampleRateHz) / 4) return cut
  return rate === null ? lengths[0] : twoSeconds(rate, sampleRateHz)
}

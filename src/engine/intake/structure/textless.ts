import { type FrameRange, framesPerHop, type SpeechLane } from '../../../domain/index.ts'
import type { Act } from './acts.ts'

export type TextlessSign = { readonly confidence: number; readonly evidence: readonly string[] }

/** Textless elements stand well apart behind the last act (common practice: 10 s of black and more). */
const SHORTEST_APART_SECONDS = 8
/** Together they are no longer than this share of the programme. */
const LARGEST_SHARE = 0.35
/** Share of speech that a programme has at least for its lack to mean anything, and what textless has at most. */
const SPEAKING_SHARE = 0.1
const SILENT_SHARE = 0.02

/** Acts behind the end of the programme that carry music and effects without dialogue. */
export function findTextless(
  acts: readonly Act[],
  speech: SpeechLane | null,
  sampleRateHz: number,
): Map<Act, TextlessSign> {
  const signs = new Map<Act, TextlessSign>()
  const programme = acts.filter(({ kind }) => kind === 'programme')
  const end = programme.findLastIndex(({ tailPop }) => tailPop !== null)
  const hop = framesPerHop(sampleRateHz)
  let rest = programme.length - 1
  for (; rest > 0; rest--) {
    const act = programme[rest]!
    const isApart = act.startFrame - programme[rest - 1]!.endFrame >= SHORTEST_APART_SECONDS * sampleRateHz
    const isBehindTailPop = end >= 0 && rest > end && act.headPop === null
    const share = speech === null ? null : speechShare(speech, act, hop)
    const main =
      speech === null
        ? null
        : speechShare(speech, { startFrame: programme[0]!.startFrame, endFrame: programme[rest - 1]!.endFrame }, hop)
    const lacksSpeech = share !== null && main! >= SPEAKING_SHARE && share <= SILENT_SHARE
    if (!isBehindTailPop && !(isApart && lacksSpeech)) break
    const behind = programme.slice(rest).reduce((sum, part) => sum + part.endFrame - part.startFrame, 0)
    const before = programme.slice(0, rest).reduce((sum, part) => sum + part.endFrame - part.startFrame, 0)
    if (behind > LARGEST_SHARE * before) break
    signs.set(act, {
      confidence: isBehindTailPop && lacksSpeech ? 0.8 : isBehindTailPop ? 0.5 : 0.5,
      evidence: [
        ...(isBehindTailPop ? ['It stands behind the tail pop.'] : ['It stands apart behind the last act.']),
        ...(lacksSpeech ? [`No speech in it; the programme has ${Math.round(100 * main!)} %.`] : []),
      ],
    })
  }
  return signs
}

function speechShare(speech: SpeechLane, { startFrame, endFrame }: FrameRange, hopFrames: number): number {
  const hops = speech.isSpeech100ms.subarray(Math.floor(startFrame / hopFrames), Math.ceil(endFrame / hopFrames))
  return hops.length === 0 ? 0 : hops.reduce((sum, is) => sum + is, 0) / hops.length
}

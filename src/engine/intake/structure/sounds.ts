import { type FoundTone, type FrameRange, framesPerFineHop } from '../../../domain/index.ts'
import type { StructureEvidence } from './evidence.ts'
import { codeOf, levelDbfs } from './level-code.ts'

/**
 * Silence of a noisy master: hops within a few dB of the quietest ones, where these go on for two seconds somewhere
 * and are quiet enough to be hiss. The peaks of tape hiss stand 10 to 12 dB over its level.
 */
const OVER_FLOOR_DB = 6
const UNDER_FLOOR_DB = 3
const LOUDEST_HISS_DBFS = -50
const SHORTEST_HISS_HOPS = 200
/** Below this (peak) everything is silence: the noise of a 16-bit converter chain lies there. */
const QUIETEST_SOUND_DBFS = -72
const FLOOR_SHARE = 0.005
/** Pauses shorter than this do not part a sound. */
const SHORTEST_SILENCE_SECONDS = 0.3
/** Sounds shorter than this inside silence are clicks of a splice, not programme. */
const SHORTEST_SOUND_SECONDS = 0.03

/** What sounds and is no tone: in order of time, edges exact where they border on digital silence. */
export function findSounds(
  evidence: readonly StructureEvidence[],
  tones: readonly FoundTone[],
  sampleRateHz: number,
): { readonly sounds: readonly FrameRange[]; readonly black: readonly FrameRange[]; readonly silenceDbfs: number } {
  const hopFrames = framesPerFineHop(sampleRateHz)
  const levels = joinLevels(evidence)
  const end = evidence.at(-1)?.range.endFrame ?? 0
  const silenceDbfs = silenceLevel(levels)
  const sounding = levels.map((code) => (code > codeOf(silenceDbfs) ? 1 : 0))
  for (const tone of tones) {
    sounding.fill(0, Math.floor(tone.startFrame / hopFrames), Math.ceil(tone.endFrame / hopFrames))
  }
  const black = joinBlack(evidence)
  const edges = [...black, ...tones]
  const rough = runsOf(sounding, SHORTEST_SILENCE_SECONDS * 100).map(([from, to]) => ({
    startFrame: from * hopFrames,
    endFrame: Math.min(end, to * hopFrames),
  }))
  const sounds = rough
    .map((sound) => sharpen(sound, edges, hopFrames))
    .filter((sound) => sound.endFrame - sound.startFrame >= SHORTEST_SOUND_SECONDS * sampleRateHz)
  return { sounds, black, silenceDbfs }
}

function joinLevels(evidence: readonly StructureEvidence[]): Uint8Array {
  const levels = new Uint8Array(evidence.reduce((sum, { level10ms }) => sum + level10ms.length, 0))
  let at = 0
  for (const { level10ms } of evidence) {
    levels.set(level10ms, at)
    at += level10ms.length
  }
  return levels
}

function silenceLevel(levels: Uint8Array): number {
  const heard = levels.filter((code) => code > 0).toSorted()
  const floor = levelDbfs(heard[Math.floor(FLOOR_SHARE * (heard.length - 1))] ?? 0)
  if (floor > LOUDEST_HISS_DBFS) return QUIETEST_SOUND_DBFS
  const [low, high] = [codeOf(floor - UNDER_FLOOR_DB), codeOf(floor + OVER_FLOOR_DB)]
  let longest = 0
  let run = 0
  for (const code of levels) {
    run = code >= low && code <= high ? run + 1 : 0
    longest = Math.max(longest, run)
  }
  return longest < SHORTEST_HISS_HOPS ? QUIETEST_SOUND_DBFS : Math.max(QUIETEST_SOUND_DBFS, floor + OVER_FLOOR_DB)
}

function joinBlack(evidence: readonly StructureEvidence[]): FrameRange[] {
  const joined: FrameRange[] = []
  for (const range of evidence.flatMap(({ silences }) => silences)) {
    const last = joined.at(-1)
    if (last !== undefined && last.endFrame === range.startFrame) {
      joined[joined.length - 1] = { startFrame: last.startFrame, endFrame: range.endFrame }
    } else joined.push(range)
  }
  return joined
}

/** Runs of ones whose gaps are at least `shortestGap` long, as [from, to). */
function runsOf(marks: Uint8Array, shortestGap: number): [number, number][] {
  const runs: [number, number][] = []
  for (let i = 0; i < marks.length; i++) {
    if (marks[i] === 0) continue
    const last = runs.at(-1)
    if (last !== undefined && i - last[1] < shortestGap) last[1] = i + 1
    else runs.push([i, i + 1])
  }
  return runs
}

/** Moves the edges of a sound to where digital silence or a tone ends and begins, if that is near. */
function sharpen(sound: FrameRange, edges: readonly FrameRange[], hopFrames: number): FrameRange {
  const near = (frame: number, edge: number) => Math.abs(frame - edge) <= hopFrames
  const before = edges.find(({ endFrame }) => near(sound.startFrame, endFrame))
  const behind = edges.find(({ startFrame }) => near(sound.endFrame, startFrame))
  return {
    startFrame: before?.endFrame ?? sound.startFrame,
    endFrame: behind?.startFrame ?? sound.endFrame,
  }
}

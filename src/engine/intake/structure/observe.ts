import { type FrameRange, framesPerFineHop } from '../../../domain/index.ts'
import type { Stretch } from '../detector.ts'
import type { StructureEvidence } from './evidence.ts'
import { levelCode } from './level-code.ts'
import { popRuns } from './pop-runs.ts'
import { sketchHop, toneDistances } from './tone-hops.ts'
import { type HopLane, SIDE_HOPS, toneRuns } from './tone-runs.ts'

/** Digital silence: nothing above one step of 16 bits, so that undithered and dithered black both count. */
const BLACK_PEAK = 1.01 / 32768

/** Levels, digital silence and pure tones of one segment. */
export function observeStructure(stretch: Stretch): StructureEvidence {
  const { sampleRateHz, firstFrame, frameCount, planes } = stretch
  const hopFrames = framesPerFineHop(sampleRateHz)
  const distances = toneDistances(sampleRateHz)
  const hopCount = Math.ceil(frameCount / hopFrames)
  const peaks = new Float64Array(hopCount)
  const lanes: HopLane[] = planes.map((plane) =>
    Array.from({ length: hopCount + 2 * SIDE_HOPS }, (_, index) => {
      const from = stretch.leadFrames + (index - SIDE_HOPS) * hopFrames
      const to = Math.min(plane.length, from + hopFrames)
      return from < 0 || to <= from ? null : sketchHop(plane, from, to, distances)
    }),
  )
  for (let hop = 0; hop < hopCount; hop++) {
    for (const lane of lanes) peaks[hop] = Math.max(peaks[hop]!, lane[hop + SIDE_HOPS]?.peak ?? 0)
  }
  const tones = planes.flatMap((_, channel) => [
    ...toneRuns(stretch, channel, lanes, hopFrames, distances),
    ...popRuns(stretch, channel, lanes, hopFrames, distances),
  ])
  return {
    range: { startFrame: firstFrame, endFrame: firstFrame + frameCount },
    level10ms: Uint8Array.from(peaks, levelCode),
    silences: blackRuns(stretch, peaks, hopFrames),
    tones,
  }
}

/** Runs of digital silence of at least one whole hop, with both edges moved out to the first frame that sounds. */
function blackRuns(stretch: Stretch, peaks: Float64Array, hopFrames: number): FrameRange[] {
  const { leadFrames, frameCount, firstFrame, planes } = stretch
  const isBlack = (frame: number) => planes.every((plane) => Math.abs(plane[leadFrames + frame]!) <= BLACK_PEAK)
  const runs: FrameRange[] = []
  for (let hop = 0; hop < peaks.length; hop++) {
    if (peaks[hop]! > BLACK_PEAK) continue
    let start = hop * hopFrames
    while (hop < peaks.length && peaks[hop]! <= BLACK_PEAK) hop++
    let end = Math.min(frameCount, hop * hopFrames)
    while (start > 0 && isBlack(start - 1)) start--
    while (end < frameCount && isBlack(end)) end++
    runs.push({ startFrame: firstFrame + start, endFrame: firstFrame + end })
  }
  return runs
}

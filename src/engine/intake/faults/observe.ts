import { type FrameRange, framesPerHop } from '../../../domain/index.ts'
import type { Stretch } from '../detector.ts'
import { findClicks } from './clicks.ts'
import type { ChannelEvidence, FaultEvidence } from './evidence.ts'
import { findFlatTops } from './flat-tops.ts'
import { countDoubled, findHeld } from './held.ts'
import { lookAtLevels } from './levels.ts'
import { findOvers } from './overs.ts'
import { CROSSTALK_FLOOR, findQuiet, SILENCE_FLOOR } from './quiet.ts'
import { findRepeats } from './repeats.ts'
import { gridStep, lookAtWords } from './words.ts'

const MOST_PLACES = 16

export function observeFaults(stretch: Stretch): FaultEvidence {
  const levels = lookAtLevels(stretch)
  const words = lookAtWords(stretch)
  const { encoding } = stretch.words.format
  const step = gridStep(words, encoding)
  return {
    firstFrame: stretch.firstFrame,
    frameCount: stretch.frameCount,
    encoding,
    levels,
    words,
    channels: stretch.planes.map((plane, channel) =>
      lookAtChannel(stretch, plane, levels.peaks[channel] as number, step),
    ),
  }
}

function lookAtChannel(stretch: Stretch, plane: Float32Array, peak: number, step: number): ChannelEvidence {
  if (peak === 0) return { ...NOTHING, silent: findQuiet(stretch, plane, SILENCE_FLOOR) }
  return {
    caps: findFlatTops(stretch, plane, peak, step),
    beyondFullScale: findBeyond(stretch, plane, peak),
    overs: findOvers(stretch, plane),
    silent: findQuiet(stretch, plane, SILENCE_FLOOR),
    low: findQuiet(stretch, plane, CROSSTALK_FLOOR),
    repeats: findRepeats(stretch, plane),
    held: findHeld(stretch, plane),
    doubledFrames: countDoubled(stretch, plane, framesPerHop(stretch.sampleRateHz)),
    clicks: findClicks(stretch, plane, step),
  }
}

const NOTHING: ChannelEvidence = {
  caps: [],
  beyondFullScale: { count: 0, places: [], highest: 0 },
  overs: { count: 0, highest: [] },
  silent: [],
  low: [],
  repeats: [],
  held: { count: 0, places: [] },
  doubledFrames: 0,
  clicks: [],
}

/** Only floating point can hold more than full scale; places closer than 100 ms are one. */
function findBeyond(stretch: Stretch, plane: Float32Array, peak: number): ChannelEvidence['beyondFullScale'] {
  if (peak <= 1) return NOTHING.beyondFullScale
  const join = framesPerHop(stretch.sampleRateHz)
  const toProgramme = stretch.firstFrame - stretch.leadFrames
  const places: FrameRange[] = []
  let count = 0
  let open: { startFrame: number; endFrame: number } | null = null
  for (let frame = stretch.leadFrames; frame < stretch.leadFrames + stretch.frameCount; frame++) {
    if (Math.abs(plane[frame] as number) <= 1) continue
    count += 1
    const at = frame + toProgramme
    if (open !== null && at < open.endFrame + join) open.endFrame = at + 1
    else {
      open = { startFrame: at, endFrame: at + 1 }
      if (places.length < MOST_PLACES) places.push(open)
    }
  }
  return { count, places, highest: peak }
}

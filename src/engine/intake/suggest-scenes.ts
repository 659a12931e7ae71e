import { dbToPower, framesPerHop, powerToDb, type SpeechLane, type SuggestedScene } from '../../domain/index.ts'
import { alikeStretches, type HopRange, rowAt, type Sketch } from './scene-borders.ts'
import { AMBIENCE, IN_PHASE, LEVEL, SKETCH_COLUMNS } from './scene-sketch.ts'

/** A scene with at least so much speech is one of dialogue. */
const SPOKEN = 0.25
/** So much in phase is one sound on both tracks. */
const MONO_IN_PHASE = 0.998

/** Scenes of a programme from the sketches of all its segments in order. */
export function suggestScenes(
  segments: readonly Float32Array[],
  speech: SpeechLane,
  programme: { readonly sampleRateHz: number; readonly frameCount: number; readonly isLtRt: boolean },
): readonly SuggestedScene[] {
  const rows = new Float32Array(segments.reduce((sum, segment) => sum + segment.length, 0))
  let next = 0
  for (const segment of segments) {
    rows.set(segment, next)
    next += segment.length
  }
  const sketch = { rows, speech: speech.probability100ms, hopCount: rows.length / SKETCH_COLUMNS }
  const hopFrames = framesPerHop(programme.sampleRateHz)
  return alikeStretches(sketch).map((stretch) => ({
    startFrame: stretch.from * hopFrames,
    // What is left of the last 100 ms belongs to the last scene.
    endFrame: stretch.end === sketch.hopCount ? programme.frameCount : stretch.end * hopFrames,
    ...told(heardIn(sketch, speech.isSpeech100ms, stretch), programme.isLtRt),
  }))
}

type Heard = Pick<SuggestedScene, 'speechShare' | 'levelDbfs' | 'ambienceShare'> & { readonly inPhase: number }

/** What a stretch sounds like, weighted by power. */
function heardIn(sketch: Sketch, isSpeech: Uint8Array, { from, end }: HopRange): Heard {
  let [power, ambience, inPhase, spoken] = [0, 0, 0, 0]
  for (let hop = from; hop < end; hop++) {
    const own = dbToPower(rowAt(sketch, hop, LEVEL))
    power += own
    ambience += own * rowAt(sketch, hop, AMBIENCE)
    inPhase += own * rowAt(sketch, hop, IN_PHASE)
    spoken += isSpeech[hop] ?? 0
  }
  return {
    speechShare: spoken / (end - from),
    levelDbfs: powerToDb(power / (end - from)),
    ambienceShare: ambience / power,
    inPhase: inPhase / power,
  }
}

function told(heard: Heard, isLtRt: boolean): Omit<SuggestedScene, 'startFrame' | 'endFrame'> {
  const { speechShare, levelDbfs, ambienceShare, inPhase } = heard
  const figures = { speechShare, levelDbfs, ambienceShare }
  const percent = (share: number) => `${Math.round(100 * share)} %`
  const isSpoken = speechShare >= SPOKEN
  const speech = isSpoken
    ? `somebody speaks ${percent(speechShare)} of the time`
    : speechShare < 0.01
      ? 'nobody speaks'
      : `somebody speaks ${percent(speechShare)} of the time only`
  const voices = isSpoken ? 'voices' : 'music or atmosphere'
  if (isLtRt) {
    return { ...figures, name: `Lt/Rt, ${voices}`, start: 'archive-lt-rt', reason: `The master is Lt/Rt; ${speech}.` }
  }
  if (inPhase >= MONO_IN_PHASE) {
    const reason = `Both tracks are the same here, so nothing belongs behind; ${speech}.`
    return { ...figures, name: `mono, ${voices}`, start: 'mono-source', reason }
  }
  const around = `${percent(ambienceShare)} of the energy has no direction`
  const reason = `Here ${speech}, and ${around}.`
  return isSpoken
    ? { ...figures, name: 'voices', start: 'drama-dialogue', reason }
    : { ...figures, name: 'music or atmosphere', start: 'live-music', reason }
}

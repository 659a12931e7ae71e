import { type FoundTone, type FrameRange, LAYOUTS, type Structure } from '../../../domain/index.ts'
import type { Inspected } from '../detector.ts'
import { type Act, findActs } from './acts.ts'
import type { StructureEvidence } from './evidence.ts'
import { frameRateSigns, speedSuspicion } from './frame-rate.ts'
import { layMap } from './map.ts'
import { findSounds } from './sounds.ts'
import { findTextless } from './textless.ts'
import { gatherTones } from './tones.ts'

/** Says what lies on the file, from the evidence of all its segments. */
export function concludeStructure(evidence: readonly StructureEvidence[], programme: Inspected): Structure {
  const { sampleRateHz, frameCount, layout, speech } = programme
  const { tones, beeps } = gatherTones(
    evidence.flatMap((segment) => segment.tones),
    LAYOUTS[layout],
    sampleRateHz,
  )
  const { sounds, black, silenceDbfs } = findSounds(evidence, [...tones, ...beeps], sampleRateHz)
  const pops = beeps.filter(({ kind }) => kind === 'pop')
  const rate = frameRateSigns({ pops, popToAction: null, lengths: [] }, sampleRateHz)[0]?.rate ?? null
  const found = { sounds, black, tones, beeps, sampleRateHz, rate }
  const acts = findActs(found)
  const textless = findTextless(acts, speech, sampleRateHz)
  const main = acts.filter((act) => act.kind === 'programme' && !textless.has(act))
  const action = main.length === 0 ? null : { startFrame: main[0]!.startFrame, endFrame: main.at(-1)!.endFrame }
  const first = main[0]
  const used = [...pops.filter((pop) => main.some((act) => isPopOf(act, pop)))]
  return {
    headSilence: edgeSilence([...sounds, ...tones, ...beeps], frameCount, 'head'),
    tailSilence: edgeSilence([...sounds, ...tones, ...beeps], frameCount, 'tail'),
    tones: [...tones, ...beeps].toSorted((a, b) => a.startFrame - b.startFrame),
    twoPop: first?.headPop ?? null,
    tailPop: main.at(-1)?.tailPop ?? null,
    action,
    segments: layMap({ ...found, acts, textless, silenceDbfs, frameCount }),
    frameRates: frameRateSigns(
      {
        pops: used,
        popToAction: first?.headPop == null ? null : first.firstSound - first.headPop.startFrame,
        lengths: lengthsOf(action, black, frameCount),
      },
      sampleRateHz,
    ),
    speed: speedSuspicion([...tones, ...used], sampleRateHz),
  }
}

function isPopOf(act: Act, pop: FoundTone): boolean {
  return act.headPop?.startFrame === pop.startFrame || act.tailPop?.startFrame === pop.startFrame
}

/** Lengths that a cut made: of the file, and of action that digital silence bounds on both sides. */
function lengthsOf(action: FrameRange | null, black: readonly FrameRange[], frameCount: number) {
  const lengths = [{ name: 'the file', frames: frameCount }]
  if (action === null) return lengths
  const isCut =
    black.some(({ endFrame }) => endFrame === action.startFrame) &&
    black.some(({ startFrame }) => startFrame === action.endFrame)
  if (isCut) lengths.push({ name: 'the action', frames: action.endFrame - action.startFrame })
  return lengths
}

function edgeSilence(heard: readonly FrameRange[], frameCount: number, edge: 'head' | 'tail'): FrameRange | null {
  const range =
    edge === 'head'
      ? { startFrame: 0, endFrame: Math.min(frameCount, ...heard.map(({ startFrame }) => startFrame)) }
      : { startFrame: Math.max(0, ...heard.map(({ endFrame }) => endFrame)), endFrame: frameCount }
  return range.endFrame > range.startFrame ? range : null
}

// What the speech detector makes of programmes in which it is known who speaks when.
import {
  joinMeasured,
  loudnessOf,
  type Measured,
  markedPower,
  segmentAt,
  segmentCount,
  speechLane,
  spokenHops,
  toHops,
} from '../../src/domain/index.ts'
import type { Kernels } from '../../src/dsp/index.ts'
import { listenToSegment, measureSegment } from '../../src/engine/measure/index.ts'
import { sourceOf } from './sources.ts'

export type SpokenFigures = {
  /** Hops that are speech and found, found without being speech, and missed. */
  readonly found: number
  readonly false: number
  readonly missed: number
  readonly hopCount: number
  /** Dialogue loudness as found, minus that of the same mix over the hops of the truth; null without speech. */
  readonly loudnessErrorLu: number | null
}

/** Listens to a two-track at 48 kHz and compares with the truth, hop by hop. */
export function spokenFigures(
  kernels: Kernels,
  weights: Float32Array,
  planes: readonly Float64Array[],
  truth100ms: Uint8Array,
): SpokenFigures {
  const source = sourceOf(planes, '2.0', 48000, 'float32')
  const heard: Uint8Array[] = []
  const measured: Measured[] = []
  for (let index = 0; index < segmentCount(source.frameCount, 48000); index++) {
    const segment = segmentAt(index, source.frameCount, 48000)
    heard.push(listenToSegment(kernels, weights, source, segment))
    measured.push(measureSegment(kernels, source, segment))
  }
  const lane = speechLane(heard)
  const powers = toHops(joinMeasured(measured).programme10ms)
  const [ours, theirs] = [markedPower(powers, spokenHops(lane)), markedPower(powers, truth100ms)]
  const count = (isCounted: (isFound: boolean, isTrue: boolean) => boolean) =>
    truth100ms.filter((isTrue, hop) => isCounted(lane.isSpeech100ms[hop] === 1, isTrue === 1)).length
  return {
    found: count((isFound, isTrue) => isFound && isTrue),
    false: count((isFound, isTrue) => isFound && !isTrue),
    missed: count((isFound, isTrue) => !isFound && isTrue),
    hopCount: truth100ms.length,
    loudnessErrorLu: ours === null || theirs === null ? null : loudnessOf(ours) - loudnessOf(theirs),
  }
}

/** Recall and precision over several programmes together, and the largest error of loudness. */
export function pooled(figures: readonly SpokenFigures[]) {
  const sum = (field: 'found' | 'false' | 'missed' | 'hopCount') => figures.reduce((total, of) => total + of[field], 0)
  return {
    recall: sum('found') / (sum('found') + sum('missed')),
    precision: sum('found') / (sum('found') + sum('false')),
    falseShare: sum('false') / sum('hopCount'),
    largestLoudnessErrorLu: Math.max(...figures.map(({ loudnessErrorLu }) => Math.abs(loudnessErrorLu ?? 0))),
  }
}

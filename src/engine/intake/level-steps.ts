import { gainToDb, type LevelStep } from '../../domain/index.ts'
import { type Kernels, LinearPrediction, takeSamples } from '../../dsp/index.ts'
import type { Detector, Stretch } from './detector.ts'
import { filterFrom } from './prediction.ts'

const ORDER = 32
/** Samples after a place over which its step is judged: as many as the prediction still sees from before it. */
const JUDGED = ORDER
const BLOCK_SECONDS = 0.05
const PARTS_PER_BLOCK = 12
/** A prediction error is looked at when its square is this many times the mean square of the part before. */
const LEAST_PROMINENCE = 10
/** Frames before or after a step from which the usual prediction error is taken. */
const USUAL_FRAMES = 256
/** The error is highest at the step or shortly after it; a beat just before may stand in front of it. */
const LOOK_BACK = 16
const LOOK_AHEAD = 4
const FRAMES_NEAR = LOOK_BACK + 1 + LOOK_AHEAD
/** Below -80 dBFS nothing is said of a level. */
const LEAST_POWER = 1e-8

/** How much better the sound is explained with a step than without, in variances of the step. */
const LEAST_SURENESS = 100
/** Running sums are a little off; what they find is computed again from the samples. */
const NEARLY_ALL = 0.999
/** What a gain may leave unexplained, against what the prediction missed before; more counts against it. */
const MOST_LEFT = 2
const LEAST_STEP_DB = 0.4
const MOST_STEP_DB = 12
/** Steps nearer to each other are one. */
const SAME_PLACE_SECONDS = 0.01

/**
 * Places where everything that sounds becomes louder or softer by one gain from one sample to the next, and goes on
 * otherwise as before: a fader that was cut, not an instrument that begins. What follows is predicted from what went
 * before (linear prediction); where only a gain makes the prediction come true, the gain is the step.
 * Gains that glide over more than a few samples leave no such trace.
 * @source linear prediction by the autocorrelation method, J. Makhoul, Proceedings of the IEEE 63 (1975)
 */
export const levelSteps: Detector<readonly LevelStep[], readonly LevelStep[]> = {
  observe: (kernels, stretch) => stepsIn(kernels, stretch),
  conclude: (evidence, { sampleRateHz }) => {
    const kept: LevelStep[] = []
    for (const step of evidence.flat()) {
      const last = kept.at(-1)
      if (last === undefined || step.frame - last.frame >= SAME_PLACE_SECONDS * sampleRateHz) kept.push(step)
      else if (step.sureness > last.sureness) kept[kept.length - 1] = step
    }
    return kept
  },
}

function stepsIn(kernels: Kernels, stretch: Stretch): readonly LevelStep[] {
  const { sampleRateHz, leadFrames, frameCount, firstFrame } = stretch
  const sound = oneSignal(kernels, stretch)
  const block = Math.round(BLOCK_SECONDS * sampleRateHz)
  const part = Math.floor(block / PARTS_PER_BLOCK)
  const prediction = new LinearPrediction(kernels, ORDER, taper(block), part + block)
  const filterOf = (first: number) => filterFrom(prediction.products(sound, first), ORDER, LEAST_POWER * block)
  const steps: LevelStep[] = []
  const begin = Math.max(leadFrames, block)
  const end = Math.min(leadFrames + frameCount, sound.length - 2 * block)
  // A block is predicted by its neighbours: its own prediction would have learnt the step.
  let [before, own] = begin < end ? [filterOf(begin - block), filterOf(begin)] : [null, null]
  for (let first = begin; first < end; first += block) {
    const after = filterOf(first + block)
    if (before !== null) {
      const from = first - part
      for (const offset of standingOut(prediction.errors(sound, from, part + block, before), part)) {
        const predicted = { prediction, sound, at: from + offset }
        const found = [stepNear(predicted, before, 'before'), after && stepNear(predicted, after, 'after')]
        const [surest] = found.filter((step) => step !== null).toSorted((a, b) => b.sureness - a.sureness)
        if (surest !== undefined) steps.push({ ...surest, frame: surest.frame + firstFrame - leadFrames })
      }
    }
    before = own
    own = after
  }
  return steps
}

/** All channels in one, with weights that differ, so that opposite channels do not cancel. */
function oneSignal(kernels: Kernels, { planes }: Stretch): Float64Array {
  const sum = takeSamples(kernels, planes[0]?.length ?? 0)
  for (const [channel, plane] of planes.entries()) addWeighted(sum, plane, 1 / (channel + 2))
  return sum
}

function addWeighted(sum: Float64Array, plane: Float32Array, weight: number): void {
  for (let n = 0; n < sum.length; n++) sum[n] = (sum[n] as number) + weight * (plane[n] as number)
}

/** A parabola squared, zero at both ends: tapers like a raised cosine, from arithmetic alone. */
function taper(length: number): Float64Array {
  return Float64Array.from({ length }, (_, n) => {
    const x = (2 * (n + 0.5)) / length - 1
    return (1 - x * x) * (1 - x * x)
  })
}

/** In each part of a block the sample that the prediction misses most, if it stands out from the part before. */
function standingOut(errors: Float64Array, part: number): number[] {
  const found: number[] = []
  let least = Number.POSITIVE_INFINITY
  for (let start = 0; start < errors.length; start += part) {
    let [at, highest, power] = [start, 0, 0]
    for (let n = start; n < Math.min(start + part, errors.length); n++) {
      const square = (errors[n] as number) * (errors[n] as number)
      power += square
      if (square > highest) {
        at = n
        highest = square
      }
    }
    if (highest > least) found.push(at)
    least = (LEAST_PROMINENCE * power) / part
  }
  return found
}

/** A place in a sound, and what predicts it. */
type Place = { readonly prediction: LinearPrediction; readonly sound: Float64Array; readonly at: number }

/** The surest step around a place, with a filter from what lies before or after it; null where none is sure. */
function stepNear({ prediction, sound, at }: Place, filter: Float64Array, from: 'before' | 'after'): LevelStep | null {
  const first = at - LOOK_BACK
  const errors = prediction.errors(sound, first, FRAMES_NEAR + JUDGED, filter)
  let best: LevelStep | null = null
  for (const frame of candidates(sound, filter, first, errors)) {
    const { gain, advantage, unexplained } = stepAt(sound, filter, frame)
    if (advantage < LEAST_SURENESS || advantage <= (best?.sureness ?? 0) || gain <= 0) continue
    const stepDb = gainToDb(gain)
    if (Math.abs(stepDb) < LEAST_STEP_DB || Math.abs(stepDb) > MOST_STEP_DB) continue
    // A gain explains the sound when it leaves no more than the prediction misses anyway; else another sound begins.
    const usual =
      from === 'before'
        ? Math.max(1, gain * gain) * usualError(sound, filter, frame - USUAL_FRAMES)
        : usualError(sound, filter, frame + JUDGED)
    const left = Math.max(1, unexplained / (MOST_LEFT * usual))
    const sureness = advantage / (left * left * left * left)
    if (sureness >= LEAST_SURENESS && sureness > (best?.sureness ?? 0)) best = { frame, stepDb, sureness }
  }
  return best
}

/**
 * The frames from `first` on at which a gain may be sure. What a prediction misses is what the samples before a frame
 * bring into it and what those from it on do; a gain on the former explains a share of it. From one frame to the next
 * one sample changes sides, so that looking at all frames costs little more than looking at one.
 */
function candidates(sound: Float64Array, filter: Float64Array, first: number, errors: Float64Array): number[] {
  const brought = new Float64Array(FRAMES_NEAR + JUDGED)
  for (let n = 0; n < JUDGED; n++) {
    let past = 0
    for (let k = n + 1; k <= ORDER; k++) past += (filter[k] as number) * (sound[first + n - k] as number)
    brought[n] = past
  }
  const found: number[] = []
  for (let shift = 0; shift < FRAMES_NEAR; shift++) {
    let [missed, pastPower, across] = [0, 0, 0]
    for (let n = shift; n < shift + JUDGED; n++) {
      const error = errors[n] as number
      const past = brought[n] as number
      missed += error * error
      pastPower += past * past
      across += error * past
    }
    const [explained, whole] = [across * across, missed * pastPower]
    if (across < pastPower && explained * (LEAST_SURENESS + JUDGED) >= NEARLY_ALL * LEAST_SURENESS * whole) {
      found.push(first + shift)
    }
    const changing = sound[first + shift] as number
    for (let k = 1; k <= ORDER; k++)
      brought[shift + k] = (brought[shift + k] as number) + (filter[k] as number) * changing
  }
  return found
}

/** Mean square of the prediction error from a place on. */
function usualError(sound: Float64Array, filter: Float64Array, from: number): number {
  let power = 0
  for (let at = from; at < from + USUAL_FRAMES; at++) {
    let sum = 0
    for (let k = 0; k <= ORDER; k++) sum += (filter[k] as number) * (sound[at - k] as number)
    power += sum * sum
  }
  return power / USUAL_FRAMES
}

/**
 * The gain on everything before `frame` that makes the samples from it on most predictable (least squares), the
 * square of its distance from 1 over its variance, and what even the gain does not explain, per sample.
 */
function stepAt(
  sound: Float64Array,
  filter: Float64Array,
  frame: number,
): { gain: number; advantage: number; unexplained: number } {
  let [bothPower, pastPower, across] = [0, 0, 0]
  for (let n = 0; n < JUDGED; n++) {
    let own = 0
    let past = 0
    for (let k = 0; k <= n; k++) own += (filter[k] as number) * (sound[frame + n - k] as number)
    for (let k = n + 1; k <= ORDER; k++) past += (filter[k] as number) * (sound[frame + n - k] as number)
    bothPower += own * own
    pastPower += past * past
    across += own * past
  }
  if (!(pastPower > 0)) return { gain: 1, advantage: 0, unexplained: 0 }
  const gain = -across / pastPower
  const unexplained = Math.max(bothPower - across * (across / pastPower), bothPower * Number.EPSILON)
  const advantage = ((gain - 1) * (gain - 1) * pastPower * JUDGED) / unexplained
  return { gain, advantage, unexplained: unexplained / JUDGED }
}

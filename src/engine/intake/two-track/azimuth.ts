import { type Azimuth, type FrameRange, gainToDb, lateTrack, printFigure } from '../../../domain/index.ts'
import { DELAY_STEP_SECONDS, DELAY_STEPS, NO_DELAY_STEP } from './fine-delay.ts'
import { framesPerLook, LOOKS_PER_FINE_CELL } from './grid.ts'
import { median, rounded } from './numbers.ts'
import { fineCellOf, type JoinedEvidence } from './programme.ts'
import type { Run } from './runs.ts'
import { turnBy } from './turn.ts'

/** Cells of one point of the curve: 1.2 s. */
const CELLS_PER_POINT = 3
/** Less weight than this is chance; less agreement than this is no delay but different sounds at different places. */
const LEAST_WEIGHT = 60
const LEAST_AGREEMENT = 0.9
const LEAST_POINTS = 5
/** Points lie this close to their neighbours' median, or nothing is said. */
const STEADY_MICROSECONDS = 3
/** In stereo a larger delay is called one of spaced microphones, or an offset. */
const MOST_IN_STEREO_MICROSECONDS = 52
const TREBLE_HZ = [8000, 12000, 16000] as const

type Point = { readonly firstCell: number; readonly delay: number; readonly isMono: boolean }

/** How far the head stood askew, along time, where the tracks have enough in common to tell. */
export function findAzimuth(
  joined: JoinedEvidence,
  runs: readonly Run[],
  sampleRateHz: number,
  frameCount: number,
): Azimuth | null {
  const points = runs.flatMap((run) => pointsOf(joined, run))
  const steady = points.filter(
    (point, at) =>
      Math.abs(point.delay - localMedian(points, at)) <= STEADY_MICROSECONDS &&
      (point.isMono || Math.abs(point.delay) <= MOST_IN_STEREO_MICROSECONDS),
  )
  if (steady.length < LEAST_POINTS || steady.length < 0.7 * points.length) return null
  const delays = steady.map(({ delay }) => delay)
  const middle = median(delays)
  const isMono = steady.filter((point) => point.isMono).length > steady.length / 2
  const cellFrames = framesPerLook(sampleRateHz) * LOOKS_PER_FINE_CELL
  const curve = steady.map(({ firstCell, delay }): FrameRange & { delayMicroseconds: number } => ({
    startFrame: firstCell * cellFrames,
    endFrame: Math.min(frameCount, (firstCell + CELLS_PER_POINT) * cellFrames),
    delayMicroseconds: rounded(delay, 1),
  }))
  const least = delays.reduce((a, b) => Math.min(a, b))
  const most = delays.reduce((a, b) => Math.max(a, b))
  const worst = Math.abs(least) > Math.abs(most) ? least : most
  const trebleLoss = TREBLE_HZ.filter((hz) => hz < sampleRateHz / 2).map((frequencyHz) => ({
    frequencyHz,
    medianDb: sumLossDb(frequencyHz, middle),
    worstDb: sumLossDb(frequencyHz, worst),
  }))
  const figures = {
    leastMicroseconds: rounded(least, 1),
    mostMicroseconds: rounded(most, 1),
    medianMicroseconds: rounded(middle, 1),
  }
  const coverage = Math.min(1, steady.length / 20)
  const confidence = rounded((isMono ? 0.8 : 0.6) + 0.18 * coverage, 2)
  return { curve, ...figures, trebleLoss, confidence, evidence: sentences(figures, trebleLoss, isMono) }
}

function pointsOf(joined: JoinedEvidence, run: Run): Point[] {
  const { state } = run
  const isMono = state.name === 'mono'
  if (!isMono && state.name !== 'stereo' && state.name !== 'split' && state.name !== 'two-languages') return []
  const sign = 'isInverted' in state && state.isInverted ? -1 : 1
  const points: Point[] = []
  const end = fineCellOf(run.to)
  for (let cell = Math.ceil(run.from / LOOKS_PER_FINE_CELL); cell + CELLS_PER_POINT <= end; cell += CELLS_PER_POINT) {
    const delay = delayAt(joined, cell, sign)
    if (delay !== null) points.push({ firstCell: cell, delay, isMono })
  }
  return points
}

/** The delay in microseconds at which the cells' coherent sound agrees best; null where it does not. */
function delayAt({ fine }: JoinedEvidence, firstCell: number, sign: number): number | null {
  const curve = new Float64Array(DELAY_STEPS)
  let weight = 0
  for (let cell = firstCell; cell < firstCell + CELLS_PER_POINT; cell++) {
    weight += fine.weights[cell]!
    for (let step = 0; step < DELAY_STEPS; step++) curve[step]! += sign * fine.curves[cell * DELAY_STEPS + step]!
  }
  let best = 1
  for (let step = 1; step < DELAY_STEPS - 1; step++) if (curve[step]! > curve[best]!) best = step
  if (weight < LEAST_WEIGHT || curve[best]! < LEAST_AGREEMENT * weight) return null
  const [before, top, after] = [curve[best - 1]!, curve[best]!, curve[best + 1]!]
  const bend = before - 2 * top + after
  const offset = bend < 0 ? (0.5 * (before - after)) / bend : 0
  if (Math.abs(offset) > 0.5) return null
  return (best - NO_DELAY_STEP + offset) * DELAY_STEP_SECONDS * 1e6
}

function localMedian(points: readonly Point[], at: number): number {
  return median(points.slice(Math.max(0, at - 2), at + 3).map(({ delay }) => delay))
}

/** What the sum of two equal sounds loses when one is late: the cosine of half the phase between them. */
function sumLossDb(frequencyHz: number, microseconds: number): number {
  const loss = gainToDb(Math.abs(turnBy(Math.PI * frequencyHz * microseconds * 1e-6).re) + 1e-3)
  return rounded(Math.min(0, loss), 1)
}

/** Below this nobody hears it: 0.1 dB at 16 kHz. */
const ALIGNED_MICROSECONDS = 3

function sentences(
  figures: Pick<Azimuth, 'leastMicroseconds' | 'mostMicroseconds' | 'medianMicroseconds'>,
  trebleLoss: Azimuth['trebleLoss'],
  isMono: boolean,
): string[] {
  const { leastMicroseconds: least, mostMicroseconds: most, medianMicroseconds: middle } = figures
  if (Math.max(Math.abs(least), Math.abs(most)) < ALIGNED_MICROSECONDS) {
    return [`The tracks are aligned: what they share runs within ${ALIGNED_MICROSECONDS} us.`]
  }
  const loss = trebleLoss.map(({ frequencyHz, worstDb }) => `${printFigure(worstDb)} dB at ${frequencyHz / 1000} kHz`)
  return [
    `${lateTrack(least, most)}, median ${printFigure(Math.abs(middle), 0)} us: the phase between the tracks rises with frequency as a skewed tape head makes it.`,
    `A sound in the middle loses up to ${loss.join(', ')} in L + R, and so in a centre made from it.`,
    ...(isMono ? [] : ['In stereo a pair of spaced microphones with one source off the middle can look the same.']),
  ]
}

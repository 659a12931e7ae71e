import { type Kernels, momentsOf, type Pair, PairSpectrum } from '../../../dsp/index.ts'
import type { Stretch } from '../detector.ts'
import { type Glances, LOOK_FIGURES, type LookFigure, type TwoTrackEvidence } from './evidence.ts'
import { DELAY_STEPS, FineDelayCounter } from './fine-delay.ts'
import {
  framesPerGlance,
  framesPerLook,
  GLANCES_PER_LOOK,
  glanceLength,
  LOOKS_PER_FINE_CELL,
  LOOKS_PER_LAG_CELL,
  lagLength,
} from './grid.ts'
import { readLabels } from './labels.ts'
import { findLags } from './lag.ts'
import { FLOOR_BANDS, NoiseFloorCounter } from './noise-floor.ts'
import { countLinesAndHiss, TileCounter } from './tiles.ts'
import { hannWindow } from './turn.ts'

/** Looks at one segment of a two-track programme. */
export function observeTwoTrack(kernels: Kernels, stretch: Stretch): TwoTrackEvidence {
  const { sampleRateHz, frameCount, leadFrames } = stretch
  const pair: Pair = { left: stretch.planes[0]!, right: stretch.planes[1]! }
  const lookCount = Math.ceil(frameCount / framesPerLook(sampleRateHz))
  const looks = Object.fromEntries(LOOK_FIGURES.map((name) => [name, new Float64Array(lookCount)])) as Record<
    LookFigure,
    Float64Array
  >
  const glanceCount = lookCount * GLANCES_PER_LOOK
  const glances = {
    common: new Float32Array(glanceCount),
    leftOnly: new Float32Array(glanceCount),
    rightOnly: new Float32Array(glanceCount),
  }
  const fineCells = Math.ceil(lookCount / LOOKS_PER_FINE_CELL)
  const fine = {
    curves: new Float32Array(fineCells * DELAY_STEPS),
    weights: new Float32Array(fineCells),
    alignedRho: new Float32Array(fineCells),
  }
  const lagCells = Math.ceil(lookCount / LOOKS_PER_LAG_CELL)
  const lagFigures = () => new Float32Array(lagCells)
  const lags = {
    lagMicroseconds: lagFigures(),
    peak: lagFigures(),
    peakAtZero: lagFigures(),
    rho: lagFigures(),
    rhoAtZero: lagFigures(),
  }

  const floors = new Float32Array(lookCount * FLOOR_BANDS)

  measurePowers(kernels, pair, leadFrames, frameCount, framesPerLook(sampleRateHz), looks)
  const mark = kernels.arena.mark()
  glanceOver(new PairSpectrum(kernels, hannWindow(glanceLength(sampleRateHz)), sampleRateHz), pair, stretch, {
    looks,
    glances,
    fine,
    floors,
  })
  kernels.arena.release(mark)
  const wide = new PairSpectrum(kernels, hannWindow(lagLength(sampleRateHz)), sampleRateHz)
  findLags(wide, pair, leadFrames, sampleRateHz, lags)
  kernels.arena.release(mark)
  const labels = ([0, 1] as const).flatMap((side) => {
    const track = side === 0 ? pair.left : pair.right
    const runs = readLabels(kernels, track, leadFrames, leadFrames + frameCount, sampleRateHz, side)
    const ofProgramme = (position: number) => position + stretch.firstFrame
    return runs.map((run) => ({
      ...run,
      firstPosition: ofProgramme(run.firstPosition),
      lastPosition: ofProgramme(run.lastPosition),
    }))
  })
  return { looks, glances, fine, lags, floors, labels }
}

type LookArrays = Record<LookFigure, Float64Array>

/** Mean squares and mean product of each look, with the mean taken off so that a direct current does not count. */
function measurePowers(
  kernels: Kernels,
  pair: Pair,
  first: number,
  frameCount: number,
  lookFrames: number,
  looks: LookArrays,
): void {
  for (let look = 0; look < looks.leftPower.length; look++) {
    const begin = first + look * lookFrames
    const end = Math.min(begin + lookFrames, first + frameCount)
    const { leftSquares, rightSquares, leftSum, rightSum, products } = momentsOf(kernels, pair, begin, end)
    const count = end - begin
    looks.leftPower[look] = Math.max(0, (leftSquares - (leftSum * leftSum) / count) / count)
    looks.rightPower[look] = Math.max(0, (rightSquares - (rightSum * rightSum) / count) / count)
    looks.crossPower[look] = (products - (leftSum * rightSum) / count) / count
  }
}

function glanceOver(
  spectrum: PairSpectrum,
  pair: Pair,
  stretch: Stretch,
  evidence: Pick<TwoTrackEvidence, 'fine' | 'floors'> & { readonly looks: LookArrays; readonly glances: Glances },
): void {
  const { looks, glances, fine, floors } = evidence
  const hop = framesPerGlance(stretch.sampleRateHz)
  const tiles = new TileCounter(spectrum, looks, glances)
  const delays = new FineDelayCounter(spectrum, fine)
  const noise = new NoiseFloorCounter(spectrum, floors)
  const bins = {
    first: Math.min(tiles.bins.first, delays.firstBin),
    end: Math.max(tiles.bins.end, delays.endBin, noise.endBin),
  }
  const count = glances.common.length
  for (let glance = -1; glance <= count; glance++) {
    spectrum.lookAround(pair, stretch.leadFrames + (glance + 0.5) * hop, bins)
    tiles.take(glance)
    if (glance < 0 || glance >= count) continue
    delays.take(glance)
    noise.take(glance)
    countLinesAndHiss(spectrum, glance, looks, tiles.bins)
  }
  if (looks.weight.length % LOOKS_PER_FINE_CELL !== 0) delays.finish(fine.weights.length - 1)
}

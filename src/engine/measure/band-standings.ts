import {
  type AudioSource,
  type BandLine,
  type BandsPlan,
  type Cancellation,
  cornersOf,
  foldDownCoefficients,
  LAYOUTS,
  type LayoutName,
  type Role,
  type Segment,
  STANDING_VALUES,
} from '../../domain/index.ts'
import {
  type BandStretch,
  bandMarginFrames,
  bandProducts,
  type Kernels,
  type Plane,
  PRODUCTS_PER_HOP,
  takePlane,
  treatBands,
} from '../../dsp/index.ts'
import { powersOfBand, readPlanes, type TreatedBefore, withChannels } from './bands.ts'

/** A line whose band is looked at, what is done to it so far, and whether it is to be solved. */
export type LineToLookAt = Pick<BandLine, 'fromHz' | 'toHz'> & {
  readonly plan: BandsPlan | null
  readonly isSought: boolean
}

/** The signals whose bands are looked at, before any gain. */
export type UnfittedSignals = {
  readonly mix: AudioSource
  /** What the stereo file is made of, `fold` the fold-down of the mix; null: no stereo is delivered. */
  readonly stereo: AudioSource | 'fold' | null
}

/**
 * How the bands of lines stand in one segment, of the mix without its LFE and of the stereo, as `BandStandings` has them:
 * their power behind everything that is done to bands and, where a line is to be solved, the three products that tell
 * what its own treatment would leave behind all treatments before it.
 */
export function bandStandingsOfSegment(
  kernels: Kernels,
  { mix, stereo }: UnfittedSignals,
  segment: Segment,
  lines: readonly LineToLookAt[],
  before: readonly TreatedBefore[],
  programme: TreatedBefore['programme'],
  cancellation?: Cancellation,
): Float64Array {
  const treatments = before.length + lines.filter(({ plan }) => plan !== null).length
  const margin = bandMarginFrames(mix.format.sampleRateHz) * (1 + treatments)
  const mains = LAYOUTS[mix.layout].filter((role) => role !== 'LFE')
  return withChannels(kernels, mix, mains, segment, margin, cancellation, (stretch) => {
    const pair =
      stereo === null
        ? []
        : stereo === 'fold'
          ? foldedPlanes(kernels, stretch, mix.layout, mains)
          : readPlanes(kernels, stereo, ['L', 'R'], stretch, cancellation)
    const all = { ...stretch, planes: [...stretch.planes, ...pair] }
    const signals = [stretch, ...(pair.length === 0 ? [] : [{ ...stretch, planes: pair }])]
    for (const { plan } of before) treatBands(kernels, all, plan, programme)
    const products = lines.map((line) => {
      const found = line.isSought
        ? signals.map((signal) => bandProducts(kernels, signal, cornersOf(line), segment))
        : null
      if (line.plan !== null) treatBands(kernels, all, line.plan, programme)
      return found
    })
    const powers = lines.map((line) => signals.map((signal) => powersOfBand(kernels, signal, line, segment)))
    return standings(lines.length, signals.length, powers, products)
  })
}

function standings(
  lineCount: number,
  signalCount: number,
  powers: readonly (readonly Float64Array[])[],
  products: readonly (readonly Float64Array[] | null)[],
): Float64Array {
  const hops = powers[0]?.[0]?.length ?? 0
  const perHop = lineCount * signalCount * STANDING_VALUES
  const values = new Float64Array(hops * perHop)
  for (let line = 0; line < lineCount; line++) {
    for (let signal = 0; signal < signalCount; signal++) {
      const at = (line * signalCount + signal) * STANDING_VALUES
      const power = powers[line]?.[signal] as Float64Array
      const product = products[line]?.[signal]
      for (let hop = 0; hop < hops; hop++) {
        const to = hop * perHop + at
        values[to] = power[hop] as number
        for (let i = 1; i < STANDING_VALUES; i++) values[to + i] = product?.[hop * PRODUCTS_PER_HOP + i] ?? 0
      }
    }
  }
  return values
}

/** Lo and Ro of the planes of a mix. */
function foldedPlanes(
  kernels: Kernels,
  { planes, frameCount }: BandStretch,
  layout: LayoutName,
  mains: readonly Role[],
): readonly Plane[] {
  const { buffer } = kernels.memory
  const coefficients = foldDownCoefficients(layout)
  return ([0, 1] as const).map((side) => {
    const folded = takePlane(kernels, frameCount, true)
    const sum = new Float64Array(buffer, folded.address, frameCount).fill(0)
    for (const [index, plane] of planes.entries()) {
      const weight = coefficients[LAYOUTS[layout].indexOf(mains[index] as Role)]?.[side] ?? 0
      if (weight === 0) continue
      const samples = new (plane.isWide ? Float64Array : Float32Array)(buffer, plane.address, frameCount)
      for (let i = 0; i < frameCount; i++) sum[i] = (sum[i] as number) + weight * (samples[i] as number)
    }
    return folded
  })
}

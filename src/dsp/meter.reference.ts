// The slow, readable twin of the meter kernel: whole programme in memory, one channel after the other, nothing skipped.
import {
  type ChannelPeaks,
  FINE_HOPS_PER_HOP,
  foldDownCoefficients,
  framesPerFineHop,
  framesPerHop,
  hasFoldDown,
  LAYOUTS,
  type LayoutName,
  loudnessWeight,
  type Measured,
  type Peak,
} from '../domain/index.ts'
import { kWeighting } from './meter-weighting.ts'
import { TRUE_PEAK_PHASES } from './true-peak.ts'

type Programme = {
  readonly planes: readonly Float64Array[]
  readonly layout: LayoutName
  readonly sampleRateHz: number
}

/** Measures a whole programme of planes in channel order. */
export function measureReference({ planes, layout, sampleRateHz }: Programme): Measured {
  const roles = LAYOUTS[layout]
  const frameCount = planes[0]?.length ?? 0
  const finite = planes.map((plane) => plane.map((sample) => (Number.isFinite(sample) ? sample : 0)))
  const weighted = finite.map((plane) => kWeighted(plane, sampleRateHz))
  const { energyScale } = kWeighting(sampleRateHz)
  const fine = framesPerFineHop(sampleRateHz)
  const energies = weighted.map((plane) => sumsOfSquares(plane, fine))
  const scaled = (sums: (hop: number) => number) => {
    return Float64Array.from({ length: Math.floor(frameCount / fine) }, (_, hop) => sums(hop) * (energyScale / fine))
  }
  const folded = hasFoldDown(layout) ? foldDown(finite, layout) : null
  const foldedEnergies = hasFoldDown(layout)
    ? foldDown(weighted, layout).map((plane) => sumsOfSquares(plane, fine))
    : null
  const mains = finite.filter((_, channel) => roles[channel] !== 'LFE')
  const lfe = finite.filter((_, channel) => roles[channel] === 'LFE')
  const points = finite.map(pointsOf)
  const foldedPoints = folded?.map(pointsOf) ?? null
  const hopFrames = framesPerHop(sampleRateHz)
  return {
    sampleRateHz,
    layout,
    frameCount,
    programme10ms: scaled((hop) =>
      energies.reduce((sum, energy, channel) => sum + weightOf(layout, channel) * (energy[hop] as number), 0),
    ),
    foldDown10ms:
      foldedEnergies && scaled((hop) => foldedEnergies.reduce((sum, energy) => sum + (energy[hop] as number), 0)),
    channels100ms: channelHops(energies, frameCount, sampleRateHz, energyScale / fine),
    linkedPeak100ms: hopPeaks([...mains, ...(folded ?? [])], hopFrames),
    lfePeak100ms: lfe.length === 0 ? null : hopPeaks(lfe, hopFrames),
    truePeak100ms: hopTruePeaks(finite, points, hopFrames),
    foldDownTruePeak100ms: folded && foldedPoints && hopTruePeaks(folded, foldedPoints, hopFrames),
    channels: finite.map((plane, channel) => peaksOf(plane, points[channel] as Float32Array)),
    foldDown: folded &&
      foldedPoints && [
        peaksOf(folded[0] as Float64Array, foldedPoints[0] as Float32Array),
        peaksOf(folded[1] as Float64Array, foldedPoints[1] as Float32Array),
      ],
    nonFiniteSampleCount: planes.reduce((sum, plane) => sum + plane.filter((x) => !Number.isFinite(x)).length, 0),
  }
}

function weightOf(layout: LayoutName, channel: number): number {
  const role = LAYOUTS[layout][channel]
  return role === undefined ? 0 : loudnessWeight(role)
}

/** One channel through shelf and high-pass, but for the factor `energyScale`. */
function kWeighted(plane: Float64Array, sampleRateHz: number): Float64Array {
  const { g1, g2, a1, a2, e2, f } = kWeighting(sampleRateHz)
  const fine = framesPerFineHop(sampleRateHz)
  const silent = (value: number) => (Math.abs(value) > 1e-30 ? value : 0)
  let [w1, w2, s, r] = [0, 0, 0, 0]
  return plane.map((x, frame) => {
    if (frame % fine === 0) [w1, w2, s, r] = [silent(w1), silent(w2), silent(s), silent(r)]
    const y = x + g2 * w2 + g1 * w1
    const w = x - a2 * w2 - a1 * w1
    const next = y - e2 * r + f * s
    const z = next - s
    r += s
    s = next
    w2 = w1
    w1 = w
    return z
  })
}

/** Lo and Ro, summed in the kernel's order: the side first, then k times the sum of the others. */
function foldDown(planes: readonly Float64Array[], layout: LayoutName): readonly Float64Array[] {
  return [0, 1].map((side) => {
    const others = planes.filter((_, channel) => {
      const share = foldDownCoefficients(layout)[channel]?.[side] ?? 0
      return share > 0 && share < 1
    })
    return (planes[side] as Float64Array).map(
      (sample, frame) => sample + Math.SQRT1_2 * others.reduce((sum, plane) => sum + (plane[frame] as number), 0),
    )
  })
}

function sumsOfSquares(plane: Float64Array, length: number): Float64Array {
  return Float64Array.from({ length: Math.floor(plane.length / length) }, (_, hop) => {
    return plane.subarray(hop * length, (hop + 1) * length).reduce((sum, z) => sum + z * z, 0)
  })
}

function channelHops(
  energies: readonly Float64Array[],
  frameCount: number,
  sampleRateHz: number,
  scale: number,
): Float64Array {
  const hops = Math.floor(frameCount / framesPerHop(sampleRateHz))
  const values: number[] = []
  for (let hop = 0; hop < hops; hop++) {
    for (const energy of energies) {
      const first = hop * FINE_HOPS_PER_HOP
      const sum = energy.subarray(first, first + FINE_HOPS_PER_HOP).reduce((total, fine) => total + fine, 0)
      values.push((sum * scale) / FINE_HOPS_PER_HOP)
    }
  }
  return Float64Array.from(values)
}

function hopPeaks(planes: readonly Float64Array[], length: number): Float64Array {
  const frames = planes[0]?.length ?? 0
  return Float64Array.from({ length: Math.ceil(frames / length) }, (_, hop) =>
    Math.max(...planes.map((plane) => samplePeakOf(plane.subarray(hop * length, (hop + 1) * length)).value)),
  )
}

function peaksOf(plane: Float64Array, points: Float32Array): ChannelPeaks {
  const samplePeak = samplePeakOf(plane)
  let between = { value: 0, frameIndex: 0 }
  for (const [newest, value] of points.entries()) {
    if (value > between.value) between = { value, frameIndex: Math.max(0, newest - 6) }
  }
  return { samplePeak, truePeak: between.value > samplePeak.value ? between : samplePeak }
}

function samplePeakOf(plane: Float64Array): Peak {
  let peak = { value: 0, frameIndex: 0 }
  for (const [frameIndex, sample] of plane.entries()) {
    if (Math.abs(sample) > peak.value) peak = { value: Math.abs(sample), frameIndex }
  }
  return peak
}

/** Rows of the highest |sample| or point of each plane; what rings out behind the end belongs to the last row. */
function hopTruePeaks(planes: readonly Float64Array[], points: readonly Float32Array[], length: number): Float32Array {
  const hops = Math.ceil((planes[0]?.length ?? 0) / length)
  const highest = (values: Iterable<number>) => {
    let peak = 0
    for (const x of values) peak = Math.max(peak, Math.abs(x))
    return peak
  }
  const rows = Array.from({ length: hops }, (_, hop) =>
    planes.map((plane, channel) => {
      const end = hop === hops - 1 ? Number.POSITIVE_INFINITY : (hop + 1) * length
      const between = (points[channel] as Float32Array).subarray(hop * length, end)
      return Math.max(highest(plane.subarray(hop * length, end)), highest(between))
    }),
  )
  return Float32Array.from(rows.flat())
}

/**
 * The highest of the four points that every frame completes, in float32 and in the order of the kernel's sums, from
 * the first frame to eleven after the last.
 */
function pointsOf(plane: Float64Array): Float32Array {
  const { fround } = Math
  const samples = Float32Array.from(plane)
  return Float32Array.from({ length: samples.length + 11 }, (_, newest) => {
    const phases = TRUE_PEAK_PHASES.map((taps) => {
      let even = 0
      let odd = 0
      for (let k = 0; k < 6; k++) {
        const late = samples[newest - k] ?? 0
        const early = samples[newest - 11 + k] ?? 0
        const [tap, mirrored] = [taps[k] as number, taps[11 - k] as number]
        even = fround(even + fround(fround(late + early) * ((tap + mirrored) / 2)))
        odd = fround(odd + fround(fround(late - early) * ((tap - mirrored) / 2)))
      }
      return fround(Math.abs(even) + Math.abs(odd))
    })
    return Math.max(...phases)
  })
}

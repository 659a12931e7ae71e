import type { Kernels } from '../../../dsp/index.ts'
import { ChannelSpectra } from '../channel-spectra.ts'
import type { Stretch } from '../detector.ts'
import { HARMONIC_COUNT, HUM_BASES, NUMBERS_PER_HARMONIC } from './evidence.ts'
import { strongestLine } from './lines.ts'

/** Hum is looked for at about this rate, in windows of 1.4 s that overlap by half. */
const LOW_RATE_HZ = 3000
const WINDOW = 4096
const HOP = 2048
/** Bins kept: up to the highest harmonic looked for, and its neighbourhood. */
const HIGHEST_HZ = 530
/** Of the windows of a segment the level that one in five stays below: hum is in all, a bass note is not. */
const QUIET_SHARE = 0.2
/** How far a harmonic may lie from its place: mains wander by 0.2 % at most (common practice), and bins are 0.7 Hz wide. */
const LARGEST_DEVIATION = 0.003
const LEAST_DEVIATION_HZ = 0.4

/** Lines at the multiples of mains frequencies, as the quieter windows of a segment show them, per channel. */
export function lowLines(kernels: Kernels, stretch: Stretch): Float32Array[] {
  const factor = Math.round(stretch.sampleRateHz / LOW_RATE_HZ)
  const rateHz = stretch.sampleRateHz / factor
  const low = stretch.planes.map((plane) => decimate(plane, factor))
  const frames = low[0]!.length
  const binCount = Math.ceil((HIGHEST_HZ / rateHz) * WINDOW)
  const windowCount = Math.max(0, Math.floor((frames - WINDOW) / HOP) + 1)
  const spectra = new ChannelSpectra(kernels, WINDOW)
  const pair = spectra.createSpectra()
  const found: Float32Array[] = []
  for (let channel = 0; channel < low.length; channel += 2) {
    const hasBoth = channel + 1 < low.length
    const powers = [0, 1].map(() => Array.from({ length: binCount }, () => new Float32Array(windowCount)))
    for (let window = 0; window < windowCount; window++) {
      spectra.transform(low[channel]!, hasBoth ? low[channel + 1]! : null, window * HOP, pair)
      for (let k = 0; k < binCount; k++) {
        powers[0]![k]![window] = pair.aRe[k]! * pair.aRe[k]! + pair.aIm[k]! * pair.aIm[k]!
        powers[1]![k]![window] = pair.bRe[k]! * pair.bRe[k]! + pair.bIm[k]! * pair.bIm[k]!
      }
    }
    found.push(harmonicsOf(powers[0]!, rateHz))
    if (hasBoth) found.push(harmonicsOf(powers[1]!, rateHz))
  }
  return found
}

/** Every `factor`-th frame of the signal through two boxes in a row, which leave -68 dB of what would fold onto 60 Hz. */
function decimate(plane: Float32Array, factor: number): Float32Array {
  const length = Math.floor((plane.length - 2 * factor) / factor)
  const weight = 1 / (factor * factor)
  return Float32Array.from({ length: Math.max(0, length) }, (_, index) => {
    const from = index * factor
    let sum = factor * plane[from + factor - 1]!
    for (let n = 1; n < factor; n++)
      sum += (factor - n) * (plane[from + factor - 1 - n]! + plane[from + factor - 1 + n]!)
    return sum * weight
  })
}

function harmonicsOf(powers: readonly Float32Array[], rateHz: number): Float32Array {
  const numbers = new Float32Array(HUM_BASES.length * HARMONIC_COUNT * NUMBERS_PER_HARMONIC)
  const windowCount = powers[0]!.length
  if (windowCount === 0) return numbers
  const quiet = Float32Array.from(powers, (bin) => bin.sort()[Math.floor(QUIET_SHARE * (windowCount - 1))]!)
  const binsPerHz = WINDOW / rateHz
  HUM_BASES.forEach(({ mainsHz, ratio }, base) => {
    for (let number = 1; number <= HARMONIC_COUNT; number++) {
      const centreHz = number * mainsHz * ratio
      const reachHz = Math.max(LEAST_DEVIATION_HZ, LARGEST_DEVIATION * centreHz)
      const line = strongestLine(quiet, (centreHz - reachHz) * binsPerHz - 0.5, (centreHz + reachHz) * binsPerHz + 0.5)
      if (line === null) continue
      const at = (base * HARMONIC_COUNT + number - 1) * NUMBERS_PER_HARMONIC
      numbers[at] = line.bin / binsPerHz
      numbers[at + 1] = line.levelDbfs
      numbers[at + 2] = line.overNeighbourhoodDb
    }
  })
  return numbers
}

import type { NoiseFloor } from '../../../domain/index.ts'
import type { BinGroups, PairSpectrum } from '../../../dsp/index.ts'
import { GLANCES_PER_LOOK, LOOKS_PER_SECOND } from './grid.ts'

/** Borders of the bands: wide enough for a steady mean in 0.2 s, narrow enough for the slope of tape hiss. */
const BORDERS_HZ = [
  80, 300, 600, 900, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000,
] as const
export const FLOOR_BANDS = BORDERS_HZ.length - 1

/** The softest looks of a programme: one in fifty, one second at least. */
const SOFTEST_SHARE = 0.02
const LEAST_LOOKS = LOOKS_PER_SECOND
/** They lie within 3 dB of each other, or the band has no steady noise. Fades reach below: a tenth is left out. */
const STEADY = 2
const FADED_SHARE = 0.1
/** Hiss is broad: this share of the bands has it, or none. */
const LEAST_BANDS = 0.6
/** Below this density (-120 dBFS over 20 kHz) a band is digital silence. */
const SILENT_DENSITY = 5e-17
/** Noise over -50 dBFS in all is no hiss but a sound of the programme, rain for one. @source common practice */
const LOUDEST_POWER = 1e-5

/** Adds up, look by look and band by band, what the two tracks do not share. */
export class NoiseFloorCounter {
  readonly endBin: number
  readonly #spectrum: PairSpectrum
  readonly #bands: BinGroups
  readonly #scale: number
  readonly #densities: Float32Array

  constructor(spectrum: PairSpectrum, densities: Float32Array) {
    const { length, binHz } = spectrum
    this.#spectrum = spectrum
    this.#bands = spectrum.takeGroups(BORDERS_HZ.map((hz) => Math.min(length / 2, Math.round(hz / binHz))))
    this.endBin = this.#bands.edges[FLOOR_BANDS]!
    this.#densities = densities
    // A Hann window of n frames turns a mean square of 1 into 3/8 n a bin; the positive bins hold half the power.
    this.#scale = 2 / (0.375 * length * length * binHz * GLANCES_PER_LOOK)
  }

  take(glance: number): void {
    this.#spectrum.addToGroups(this.#bands)
    if (glance % GLANCES_PER_LOOK === GLANCES_PER_LOOK - 1) this.#tell(Math.floor(glance / GLANCES_PER_LOOK))
  }

  #tell(look: number): void {
    const { edges, sums } = this.#bands
    for (let band = 0; band < FLOOR_BANDS; band++) {
      const [left, right, re, im] = [0, 1, 2, 3].map((part) => sums[4 * band + part]!) as [
        number,
        number,
        number,
        number,
      ]
      const cross = re * re + im * im
      const larger = (left + right + Math.sqrt((left - right) * (left - right) + 4 * cross)) / 2
      const bins = edges[band + 1]! - edges[band]!
      const smaller = larger > 0 ? Math.max(0, left * right - cross) / larger : 0
      // The spacing of the bins is in the scale: power over the width of the band.
      this.#densities[look * FLOOR_BANDS + band] = bins > 0 ? (smaller * this.#scale) / bins : 0
    }
    sums.fill(0)
  }
}

/** The noise that stays when everything else is silent; null where there is none, or where it is too loud to be hiss. */
export function findNoiseFloor(densities: Float32Array): NoiseFloor | null {
  const lookCount = densities.length / FLOOR_BANDS
  const floor: number[] = []
  let sounding = 0
  let power = 0
  for (let band = 0; band < FLOOR_BANDS; band++) {
    const all: number[] = []
    // The first and the last look see beyond the programme.
    for (let look = 1; look < lookCount - 1; look++) {
      const density = densities[look * FLOOR_BANDS + band]!
      if (density > SILENT_DENSITY) all.push(density)
    }
    if (all.length > 0) sounding += 1
    const density = steadyDensity(all)
    floor.push(density)
    power += density * (BORDERS_HZ[band + 1]! - BORDERS_HZ[band]!)
  }
  const steady = floor.filter((density) => density > 0).length
  if (sounding === 0 || steady < LEAST_BANDS * sounding || power > LOUDEST_POWER) return null
  return { bandsHz: BORDERS_HZ, densities: floor }
}

function steadyDensity(all: readonly number[]): number {
  const count = Math.max(LEAST_LOOKS, Math.round(SOFTEST_SHARE * all.length))
  if (all.length < count) return 0
  const softest = all.toSorted((a, b) => a - b).slice(0, count)
  const steady = softest.slice(Math.floor(FADED_SHARE * count))
  if (steady.at(-1)! > STEADY * steady[0]!) return 0
  // The softest looks lie below the mean of the noise; where it is steady, the next ones do not lie far above.
  const reach = all.filter((density) => density >= steady[0]! && density <= STEADY * steady[0]!)
  return reach.reduce((sum, density) => sum + density, 0) / reach.length
}

import { delayAt, type NoiseFloor, type SourceReading, voiceAt } from '../domain/index.ts'
import type { Kernels } from './kernels.ts'
import type { UpmixGeometry } from './upmix-geometry.ts'
import { takeSilence } from './upmix-tables.ts'

/** What an upmix needs of a reading. */
export type ReadTracks = Pick<SourceReading, 'found' | 'kind' | 'delay' | 'noiseFloor' | 'voice100ms'>

/** Unrelated power up to this many times the floor is noise; from so many times on it is ambience. */
const NOISE_UP_TO = 2.5
const AMBIENCE_FROM = 8

/**
 * What the two tracks were found to be, put into their spectra: both tracks meet half-way where one is late, and steady
 * noise is held out of the surrounds. `firstFrame` is where the stretch lies in the programme.
 * @source docs/decisions/0021: the middle between the tracks keeps the centre's treble and costs the fronts least
 */
export class SourceSpectra {
  readonly #kernels: Kernels
  readonly #geometry: UpmixGeometry
  readonly #reading: ReadTracks
  readonly #firstFrame: number
  readonly #phases: number
  readonly #floor: number | null
  #filledMicroseconds = 0

  constructor(kernels: Kernels, geometry: UpmixGeometry, reading: ReadTracks, firstFrame: number) {
    this.#kernels = kernels
    this.#geometry = geometry
    this.#reading = reading
    this.#firstFrame = firstFrame
    this.#phases = takeSilence(kernels, 2 * geometry.stride)
    this.#floor = reading.noiseFloor === null ? null : takeFloor(kernels, geometry, reading.noiseFloor)
  }

  /** How surely a voice sounds at a pair of transforms, 0 .. 1; null where nobody listened. */
  voiceAt(pair: number): number | null {
    const { voice100ms } = this.#reading
    const { hopFrames, sampleRateHz } = this.#geometry
    const middle = this.#firstFrame + (2 * pair - 0.5) * hopFrames
    return voice100ms === null ? null : voiceAt(voice100ms, sampleRateHz, middle)
  }

  /** Turns both tracks' spectra of transform `index` to the instant between them. */
  meet(spectrum: number, index: number): void {
    this.#turn(spectrum, index, 1)
  }

  /** Turns a left and a right signal back to the instants of their tracks. */
  part(spectrum: number, index: number): void {
    this.#turn(spectrum, index, -1)
  }

  #turn(spectrum: number, index: number, direction: 1 | -1): void {
    const { hopFrames, transformFrames, stride, sampleRateHz } = this.#geometry
    const middle = this.#firstFrame + (index - 3) * hopFrames + transformFrames / 2
    const microseconds = delayAt(this.#reading.delay, middle)
    if (microseconds === 0) return
    const { exports } = this.#kernels
    if (microseconds !== this.#filledMicroseconds) {
      const radiansPerBin = (Math.PI * (sampleRateHz / transformFrames) * microseconds) / 1e6
      exports.upmixFillPhases(this.#phases, stride, radiansPerBin)
      this.#filledMicroseconds = microseconds
    }
    exports.upmixMeet(spectrum, stride, this.#phases, direction)
  }

  /** Holds noise out of the surround spectra of a pair of transforms: `powers` are the smoothed ones of their weights. */
  hold(powers: number, spectra: readonly [number, number], amount: number): void {
    if (this.#floor === null || amount === 0) return
    const { stride } = this.#geometry
    const [first, second] = spectra
    const { exports } = this.#kernels
    exports.upmixHoldNoise(powers, this.#floor, first, second, stride, amount, NOISE_UP_TO, AMBIENCE_FROM)
  }
}

/** The floor in the units of a transform: the analysis window has the energy of half its length. */
function takeFloor(kernels: Kernels, geometry: UpmixGeometry, { bandsHz, densities }: NoiseFloor): number {
  const { stride, lastBin, sampleRateHz, transformFrames } = geometry
  const address = takeSilence(kernels, stride)
  const floor = new Float32Array(kernels.memory.buffer, address, stride)
  const scale = (sampleRateHz / 2) * (transformFrames / 2)
  const spacingHz = sampleRateHz / transformFrames
  for (let bin = 0; bin <= lastBin; bin++) floor[bin] = scale * densityAt(bandsHz, densities, bin * spacingHz)
  return address
}

/** Straight lines between the middles of the bands, held beyond the first and the last one. */
function densityAt(bandsHz: readonly number[], densities: readonly number[], hz: number): number {
  const middle = (band: number) => ((bandsHz[band] as number) + (bandsHz[band + 1] as number)) / 2
  let above = 0
  while (above < densities.length && middle(above) < hz) above++
  if (above === 0) return densities[0] as number
  if (above === densities.length) return densities.at(-1) as number
  const share = (hz - middle(above - 1)) / (middle(above) - middle(above - 1))
  const [from, to] = [densities[above - 1] as number, densities[above] as number]
  return from + share * (to - from)
}

import { powerToDb, type TrackHiss } from '../../../domain/index.ts'
import { LOOKS_PER_SECOND } from './grid.ts'
import { findNoiseFloor } from './noise-floor.ts'
import { rounded } from './numbers.ts'
import type { JoinedEvidence } from './programme.ts'
import { HISS_BAND_HZ } from './tiles.ts'

/** Steady noise has a geometric over arithmetic mean of 0.56 (chi-square, two degrees of freedom); music less. */
const NOISE_FLATNESS = 0.5
/** One second of the softest noise-like looks. */
const LOOKS = LOOKS_PER_SECOND
/** They lie within 3 dB of each other, or it is no steady noise. */
const STEADY = 2
/** Below -120 dBFS a band is digital silence. */
const SILENT_POWER = 1e-12

const METHOD =
  `mean square from ${HISS_BAND_HZ[0] / 1000} to ${HISS_BAND_HZ[1] / 1000} kHz in the quietest second ` +
  '(five looks of 200 ms, not necessarily adjoining) whose spectrum there is that of noise'

/** The noise that stays when everything else is silent. */
export function measureHiss(joined: JoinedEvidence): TrackHiss {
  return {
    leftDbfs: hissDbfs(joined, 'left'),
    rightDbfs: hissDbfs(joined, 'right'),
    bandHz: HISS_BAND_HZ,
    method: METHOD,
    floor: findNoiseFloor(joined.densities),
  }
}

function hissDbfs({ looks, lookCount }: JoinedEvidence, side: 'left' | 'right'): number | null {
  const powers: number[] = []
  for (let look = 0; look < lookCount; look++) {
    const power = looks[`${side}Hiss`][look]!
    if (power > SILENT_POWER && looks[`${side}Flatness`][look]! > NOISE_FLATNESS) powers.push(power)
  }
  const softest = powers.toSorted((a, b) => a - b).slice(0, LOOKS)
  if (softest.length < LOOKS || softest.at(-1)! > STEADY * softest[0]!) return null
  const mean = softest.reduce((sum, power) => sum + power, 0) / LOOKS
  return rounded(powerToDb(mean), 1)
}

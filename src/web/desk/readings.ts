import {
  ENERGY_PARTS,
  type EnergyDivision,
  HOPS_PER_SECOND,
  loudnessOf,
  printFigure,
  WAVEFORM_FULL_SCALE,
} from '../../domain/index.ts'
import type { RideMoves } from '../../protocol/index.ts'
import { sharesOf } from './energy-shares.ts'
import type { FitCurves } from './fit-curves.ts'
import type { Scene } from './timeline/scene.ts'
import { peakDbfsOf } from './use-waveform.ts'
import { signed } from './words.ts'

/** Lanes that values are read of. */
export type ReadLane = 'loudness' | 'dialogue' | 'trims' | 'fitWords' | 'ride' | 'lfe' | 'ceiling' | 'bands' | 'energy'

/** What is read at one instant: of each lane its values with their units, written on the lane and said below the timeline. */
export type Readings = {
  readonly lanes: readonly { readonly lane: ReadLane; readonly words: readonly string[] }[]
  /** Of each channel in order. */
  readonly channels: readonly { readonly role: string; readonly words: string }[]
}

export function readingsAt(scene: Scene, seconds: number): Readings {
  const hop = Math.floor(seconds * HOPS_PER_SECOND)
  return {
    lanes: [
      { lane: 'loudness', words: loudnessWords(scene, hop) },
      { lane: 'trims', words: decidedWords(scene, hop, Math.round(seconds * scene.sampleRateHz)) },
      ...(scene.fit === null ? [] : fitReadings(scene.fit, hop)),
      { lane: 'dialogue', words: scene.speech?.[hop] === 1 ? ['dialogue'] : [] },
    ],
    channels: scene.channels.map(({ role, powers }, channel) => ({
      role,
      words: [level(powers[hop] ?? 0), ...peakWords(scene, channel, seconds)].join(', '),
    })),
  }
}

/** All of it in one sentence, for those who do not see the lanes. */
export function allWords({ lanes, channels }: Readings): string {
  return [...lanes.flatMap(({ words }) => words), ...channels.map(({ role, words }) => `${role} ${words}`)].join(', ')
}

function loudnessWords({ after, before, points }: Scene, hop: number): readonly string[] {
  const level = (powers: Float64Array) => {
    const power = powers[hop]
    return printFigure(power === undefined || !(power > 0) ? null : loudnessOf(power))
  }
  const was = points === null ? '' : ` (${level(before.shortTerm)} before)`
  return [`short-term ${level(after.shortTerm)}${was}`, `momentary ${level(after.momentary)} LKFS`]
}

function level(power: number): string {
  return power > 0 ? `${printFigure(loudnessOf(power))} LKFS` : 'silent'
}

/** The highest sample of an opened channel in the 100 ms around. */
function peakWords({ waveform, sampleRateHz }: Scene, channel: number, seconds: number): readonly string[] {
  if (!waveform.isOpen[channel]) return []
  const first = (Math.floor(seconds * HOPS_PER_SECOND) / HOPS_PER_SECOND) * sampleRateHz
  const [lowest, highest] = waveform.tiles.extremes(channel, first, first + sampleRateHz / HOPS_PER_SECOND, 1)
  const peakDbfs = peakDbfsOf(lowest!, highest!, WAVEFORM_FULL_SCALE)
  return peakDbfs === null ? [] : [`peak ${printFigure(peakDbfs)} dBFS`]
}

/** What the mixer decided here. */
function decidedWords({ points, locks, limits }: Scene, hop: number, frame: number): readonly string[] {
  const holds = (range: { readonly startFrame: number; readonly endFrame: number }) =>
    frame >= range.startFrame && frame < range.endFrame
  return [
    ...(points === null ? [] : [`trim ${signed(points[hop] ?? 0)} dB`]),
    ...locks
      .filter(holds)
      .map(({ toleranceDb }) => (toleranceDb === 0 ? 'locked' : `locked within ${printFigure(toleranceDb)} dB`)),
    ...limits
      .filter(holds)
      .map(({ lowestDb, highestDb }) => `ride limited to ${signed(lowestDb)} to ${signed(highestDb)} dB`),
  ]
}

function fitReadings(
  { staticGainDb, ride, lfeRide, ceilingLossDb, bands, energy }: FitCurves,
  hop: number,
): Readings['lanes'] {
  const at = (points: Float64Array) => signed(points[hop] ?? 0)
  const ridden = ({ gainDb, lowestDb, highestDb }: RideMoves) =>
    `ride ${at(gainDb)} dB (corridor ${at(lowestDb)} to ${at(highestDb)})`
  return [
    { lane: 'fitWords', words: [`gain ${signed(staticGainDb)} dB`] },
    { lane: 'ride', words: [ride === null ? 'no ride' : ridden(ride)] },
    { lane: 'lfe', words: lfeRide === null ? [] : [`LFE ${ridden(lfeRide)}`] },
    { lane: 'ceiling', words: ceilingLossDb === null ? [] : [`ceiling ${at(ceilingLossDb)} LU`] },
    { lane: 'bands', words: bands.map(({ name, gainDb }) => `${name} ${at(gainDb)} dB`) },
    { lane: 'energy', words: energy === null ? [] : energyWords(energy, hop) },
  ]
}

/** How the energy of an upmix is divided. */
function energyWords(energy: EnergyDivision, hop: number): readonly string[] {
  const shares = sharesOf(energy, hop, hop + 1)
  if (shares === null) return ['no energy']
  return [ENERGY_PARTS.map((part, index) => `${part} ${printFigure(100 * shares[index]!, 0)} %`).join(', ')]
}

import {
  type BandLevelLimit,
  type BandStandings,
  type DeliverySpec,
  FINE_HOPS_PER_HOP,
  type FitSettings,
  framesPerHop,
  highestBand,
  jointLoudness,
  type Measured,
  standingOver,
  toHops,
} from '../../domain/index.ts'
import { gainsOfHops } from './ceiling-forecast.ts'
import type { Decision, FitCorrection } from './decision.ts'
import { fitSource } from './fit-source.ts'
import { energiesAfterLoss, riddenEnergies, riddenHops } from './ridden-energies.ts'

/** A stretch in hops, [first, end). */
export type HopRange = { readonly first: number; readonly end: number }

/** What a decision makes of the levels of bands, signal by signal: the mix, and the stereo where it is delivered. */
export type BandsHeard = {
  /** Power of the gain that each hop gets. */
  readonly gains: readonly Float64Array[]
  /** Programme loudness; null where nothing passes the gate. */
  readonly loudnessLkfs: readonly (number | null)[]
  /** What counts, in order: no window reaches out of a part. */
  readonly parts: readonly HopRange[]
}

/** By how much a band stands above its line where it does so most; below 0 the line is kept. */
export type BandExcess = { readonly excessDb: number; readonly signal: number; readonly at: HopRange }

/**
 * The lines on bands that a fit has to meet: those whose miss fails the delivery. What is limited in 3 s comes first: it
 * may leave nothing to do for a line on the whole.
 */
export function bandLinesToMeet(spec: DeliverySpec, { bands, stages }: FitSettings): readonly BandLevelLimit[] {
  if (stages === 'trims' || (bands !== 'lines' && bands !== 'auto')) return []
  const lines = (spec.bandLevels ?? []).filter(({ severity }) => severity === 'fail')
  return [...lines.filter(({ over }) => over === 'short-term'), ...lines.filter(({ over }) => over === 'programme')]
}

/** Gains, loudness and parts of the signals under a decision, the ceiling's forecast included. */
export function bandsHeardUnder(
  { plan, stereoGainDb }: Decision,
  measured: Measured,
  { programme, ceilingLossDb }: FitCorrection,
  signalCount: number,
): BandsHeard {
  const hopCount = measured.linkedPeak100ms.length
  const common = gainsOfHops(plan, hopCount)
  const { parts } = fitSource(measured, programme === undefined ? {} : { programme })
  const signals = [
    { energies: measured.programme10ms, ownGainDb: 0 },
    { energies: measured.foldDown10ms ?? measured.programme10ms, ownGainDb: stereoGainDb },
  ].slice(0, signalCount)
  const lost = (energies: Float64Array) =>
    ceilingLossDb === undefined ? energies : energiesAfterLoss(energies, ceilingLossDb)
  const ones = new Float64Array(hopCount * FINE_HOPS_PER_HOP).fill(1)
  const gains = signals.map(({ ownGainDb }) => {
    const gainsDb = common.map((gainDb, hop) => gainDb + ownGainDb + (ceilingLossDb?.[hop] ?? 0))
    return riddenHops(ones, toHops(ones), gainsDb)
  })
  const loudnessLkfs = signals.map(({ energies, ownGainDb }) => {
    const gainsDb = common.map((gainDb) => gainDb + ownGainDb)
    const heard = riddenEnergies(lost(energies), gainsDb)
    return jointLoudness(parts.map(({ first, end }) => toHops(heard.subarray(first, end))))
  })
  return { gains, loudnessLkfs, parts: hopParts(programme, measured, hopCount) }
}

function hopParts(
  programme: FitCorrection['programme'],
  { sampleRateHz }: Measured,
  hopCount: number,
): readonly HopRange[] {
  if (programme === undefined) return [{ first: 0, end: hopCount }]
  const hop = framesPerHop(sampleRateHz)
  return programme.map(({ startFrame, endFrame }) => {
    const first = Math.min(Math.floor(startFrame / hop), hopCount)
    return { first, end: Math.max(first, Math.min(Math.ceil(endFrame / hop), hopCount)) }
  })
}

/** The limit of a line in a signal, in dBFS; null: nothing stands beside it. */
export function limitDbfs(line: BandLevelLimit, heard: BandsHeard, signal: number): number | null {
  if (line.beside === 'full-scale') return line.value
  const loudness = heard.loudnessLkfs[signal] ?? null
  return loudness === null ? null : line.value + loudness
}

/** How a line stands in the signal that has most of its band; null where all are silent there. */
export function excessOf(standings: BandStandings, line: number, heard: BandsHeard): BandExcess | null {
  const asked = standings.lines[line] as BandLevelLimit
  let most: BandExcess | null = null
  for (const [signal, gains] of heard.gains.entries()) {
    const powers = standingOver(standings, line, signal, 0).map((power, hop) => power * (gains[hop] as number))
    const parts = heard.parts.map(({ first, end }) => powers.subarray(first, end))
    const highest = highestBand(parts, asked.over)
    const limit = limitDbfs(asked, heard, signal)
    if (highest === null || limit === null) continue
    const excessDb = highest.db - limit
    if (most !== null && excessDb <= most.excessDb) continue
    const first = (heard.parts[highest.part]?.first ?? 0) + highest.hop
    most = { excessDb, signal, at: { first, end: first + highest.hopCount } }
  }
  return most
}

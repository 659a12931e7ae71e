import { type ChannelSpectrum, LAYOUTS, type LineWhistle, powerToDb } from '../../../domain/index.ts'
import type { Inspected } from '../detector.ts'
import { bandLimitOf } from './band-limit.ts'
import type { ChannelEvidence, SpectrumEvidence } from './evidence.ts'
import { humOf } from './hum.ts'

/** Hiss: the quietest frames of so many segments agree within so many dB and are no louder than so much. */
const HISS_SHARE = 0.15
const FEWEST_HISS_SEGMENTS = 2
const HISS_SPREAD_DB = 2
const LOUDEST_HISS_DBFS = -45
/** From octave to octave hiss rises or falls by less than this; white noise rises by 3 dB. */
const LARGEST_OCTAVE_STEP_DB = 9

/** Line frequencies: 625 lines at 25 pictures a second, 525 at 29.97 (ITU-R BT.470 / BT.1700). */
const WHISTLES = [
  { hz: 15625, system: '625 lines' },
  { hz: 15734.27, system: '525 lines' },
] as const
const WHISTLE_TOLERANCE_HZ = 8
const WHISTLE_OVER_DB = 10
const WHISTLE_SHARE = 0.6

export function concludeSpectrum(evidence: readonly SpectrumEvidence[], programme: Inspected): ChannelSpectrum[] {
  return LAYOUTS[programme.layout].map((role, channel) => {
    const own = evidence.map(({ channels }) => channels[channel]!)
    return {
      role,
      hum: humOf(own),
      bandLimit: role === 'LFE' ? null : bandLimitOf(own, programme.sampleRateHz),
      hissDbfs: hissOf(own),
      lineWhistle: whistleOf(own),
    }
  })
}

function hissOf(segments: readonly ChannelEvidence[]): number | null {
  const heard = segments.map(({ quiet }) => [...quiet]).filter((quiet) => quiet.every((power) => power > 0))
  const levels = heard.map((quiet) => powerToDb(quiet.reduce((sum, power) => sum + power, 0))).toSorted((a, b) => a - b)
  const lowest = levels[0]
  if (lowest === undefined || lowest > LOUDEST_HISS_DBFS) return null
  const agreeing = levels.filter((level) => level - lowest <= HISS_SPREAD_DB)
  if (agreeing.length < Math.max(FEWEST_HISS_SEGMENTS, HISS_SHARE * levels.length)) return null
  const isEven = heard
    .filter((quiet) => powerToDb(quiet.reduce((sum, power) => sum + power, 0)) - lowest <= HISS_SPREAD_DB)
    .every((quiet) =>
      quiet.slice(1).every((power, band) => Math.abs(powerToDb(power / quiet[band]!)) <= LARGEST_OCTAVE_STEP_DB),
    )
  return isEven ? agreeing.reduce((sum, level) => sum + level, 0) / agreeing.length : null
}

function whistleOf(segments: readonly ChannelEvidence[]): LineWhistle | null {
  for (const { hz, system } of WHISTLES) {
    const lines = segments.flatMap(({ whistle }) =>
      whistle !== null && whistle[2] >= WHISTLE_OVER_DB && Math.abs(whistle[0] - hz) <= WHISTLE_TOLERANCE_HZ
        ? [whistle]
        : [],
    )
    if (lines.length === 0 || lines.length < WHISTLE_SHARE * segments.length) continue
    const mean = (of: 0 | 1 | 2) => lines.reduce((sum, line) => sum + line[of], 0) / lines.length
    return { frequencyHz: mean(0), system, levelDbfs: mean(1), overNeighbourhoodDb: mean(2) }
  }
  return null
}

import { type BandLimit, powerToDb } from '../../../domain/index.ts'
import { BAND_COUNT, type ChannelEvidence } from './evidence.ts'

/** Below this no cut is looked for: a telephone's band ends at 3.4 kHz. */
const LOWEST_CUT_HZ = 3200
/** A cut falls this far within 1 kHz. Microphones, tape and air lose a few dB an octave there (common practice). */
const LEAST_STEP_DB = 24
const STEP_HZ = 1000
/** Above the cut nothing comes back by more than this. */
const LARGEST_RETURN_DB = 6
/** Below the cut there must be something: -105 dBFS in a band. */
const FAINTEST_BAND_DBFS = -105
/** Certain where the step is this deep. */
const CERTAIN_STEP_DB = 50
/** Converters' and resamplers' own filters begin to fall at 20 kHz of 44.1 kHz (common practice); a cut there says nothing. */
const OWN_LIMIT_SHARE = 0.45

/** Below the edge the level falls by less than this from band to band, looked at over so many bands. */
const LARGEST_FLAT_STEP_DB = 0.6
const FLAT_BANDS = 3
const EDGE_DB = 10

/** Half of these sample rates, less or more the width of their filters, is where a converted programme ends. */
const RATES_HZ = [8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000]
const FILTER_SHARE = 0.9
const IMAGE_SHARE = 1.05
/** Low-pass corners that coders of music use (common practice). */
const CODER_CUTS_HZ = [11000, 15000, 16000, 17000, 18000, 19000, 19500, 20000, 20500]
const CODER_TOLERANCE_HZ = 400

/** Where the spectrum of one channel ends, from the evidence of all segments. */
export function bandLimitOf(
  segments: readonly Pick<ChannelEvidence, 'bands'>[],
  sampleRateHz: number,
): BandLimit | null {
  const hzPerBand = sampleRateHz / 2 / BAND_COUNT
  const levels = Array.from({ length: BAND_COUNT }, (_, band) =>
    powerToDb(1e-20 + segments.reduce((sum, { bands }) => sum + bands[band]!, 0) / segments.length),
  )
  const reach = Math.max(2, Math.round(STEP_HZ / hzPerBand))
  let best: { readonly band: number; readonly stepDb: number } | null = null
  for (let band = Math.ceil(LOWEST_CUT_HZ / hzPerBand); band + reach < BAND_COUNT; band++) {
    const below = Math.min(levels[band - 1]!, levels[band]!)
    const above = Math.max(...levels.slice(band + reach))
    const first = levels[band + reach]!
    const stepDb = below - Math.max(first, above - LARGEST_RETURN_DB)
    if (below < FAINTEST_BAND_DBFS || stepDb < LEAST_STEP_DB) continue
    if (best === null || stepDb > best.stepDb) best = { band, stepDb }
  }
  if (best === null) return null
  const cutHz = edgeHz(levels, best.band, hzPerBand)
  if (cutHz > OWN_LIMIT_SHARE * sampleRateHz) return null
  return describe(cutHz, best.stepDb)
}

/** Where the level has fallen 10 dB from the last band below the step that is not falling yet. */
function edgeHz(levels: readonly number[], band: number, hzPerBand: number): number {
  const flat = Math.ceil(LOWEST_CUT_HZ / hzPerBand) + FLAT_BANDS
  let top = band
  while (top > flat && levels[top - FLAT_BANDS]! - levels[top]! > FLAT_BANDS * LARGEST_FLAT_STEP_DB) top--
  const edge = levels.findIndex((level, next) => next > top && level < levels[top]! - EDGE_DB)
  return (edge < 0 ? band : edge) * hzPerBand
}

function describe(cutHz: number, stepDb: number): BandLimit {
  const rates = RATES_HZ.filter((rate) => cutHz <= (IMAGE_SHARE * rate) / 2 && cutHz >= (FILTER_SHARE * rate) / 2)
  const isCoder = CODER_CUTS_HZ.some((cut) => Math.abs(cut - cutHz) <= CODER_TOLERANCE_HZ)
  const suggests = rates.length > 0 === isCoder ? 'either' : isCoder ? 'lossy-coding' : 'lower-sample-rate'
  const kHz = (hz: number) => `${(hz / 1000).toFixed(hz % 1000 === 0 ? 0 : 1)} kHz`
  return {
    cutHz,
    stepDb,
    suggests,
    confidence: Math.min(0.95, 0.5 + (0.45 * (stepDb - LEAST_STEP_DB)) / (CERTAIN_STEP_DB - LEAST_STEP_DB)),
    evidence: [
      `The spectrum ends at ${kHz(cutHz)}: ${stepDb.toFixed(0)} dB less within 1 kHz, and nothing above.`,
      ...(rates.length > 0 ? [`Audio sampled at ${rates.map(kHz).join(' or ')} ends there.`] : []),
      ...(isCoder ? ['Coders of music cut there.'] : []),
    ],
  }
}

import type { Role } from '../../../domain/index.ts'
import type { RolesSummary } from './summary.ts'

/** An LFE has less than this share of its energy above 250 Hz (-25 dB); a main channel has more than the second (-15 dB). */
export const LARGEST_LFE_SHARE = 0.003
export const LEAST_MAIN_SHARE = 0.03
/** Below -90 dBFS over the programme a channel is silent; below -70 dBFS its spectrum says nothing. */
export const SILENT_POWER = 1e-9
const QUIET_POWER = 1e-7
/** The centre relates to left and right alike: its coherences with them differ by this much less than another's. */
const CENTRE_DIFFERENCE = 0.1
/** Or it moves more, as speech does: by so many dB from window to window, also where music lies under the speech. */
const CENTRE_LIVELINESS_DB = 0.5

const LFE = 3
/** Where the LFE is found when ITU order is read as film or AAC order, and the other way round. */
const LFE_READ_AS_LS = 4
const LFE_READ_AS_RS = 5

export type OrderFinding = {
  readonly order: 'itu' | 'film' | 'aac' | null
  readonly confidence: number
  readonly evidence: readonly string[]
}

export function isLowBandOnly(summary: RolesSummary, channel: number): boolean {
  return summary.powers[channel]! > QUIET_POWER && summary.highShares[channel]! < LARGEST_LFE_SHARE
}

export function isFullRange(summary: RolesSummary, channel: number): boolean {
  return summary.powers[channel]! > QUIET_POWER && summary.highShares[channel]! > LEAST_MAIN_SHARE
}

/** Whether six channels were read in an order that is not theirs; null where nothing says so. */
export function findWrongOrder(summary: RolesSummary, roles: readonly Role[]): OrderFinding | null {
  if (!isFullRange(summary, LFE)) return null
  const candidates = [LFE_READ_AS_LS, LFE_READ_AS_RS]
  const low = candidates.filter((channel) => isLowBandOnly(summary, channel))
  const silent = [...summary.powers.keys()].filter((channel) => summary.powers[channel]! < SILENT_POWER)
  const isBySilence = low.length === 0 && silent.length === 1 && candidates.includes(silent[0]!)
  const place = isBySilence ? silent[0]! : low.length === 1 ? low[0]! : null
  if (place === null) return null
  const sentence = isBySilence
    ? `${roles[place]} alone is silent, as an unused LFE is, and the LFE carries the full range.`
    : `${roles[place]} carries nothing above 250 Hz, as an LFE does, and the LFE carries the full range.`
  const confidence = isBySilence ? 0.5 : 0.9
  if (place === LFE_READ_AS_LS) return { order: 'itu', confidence, evidence: [sentence] }
  const centre = findCentre(summary)
  return {
    order: centre.order,
    confidence: centre.order === null ? 0.6 : confidence,
    evidence: [sentence, centre.sentence],
  }
}

/** Of channels 0 to 2 the centre is 1 in film order and 0 in AAC order. */
function findCentre(summary: RolesSummary): { readonly order: 'film' | 'aac' | null; readonly sentence: string } {
  const coherence = (a: number, b: number) => summary.pair(a, b).coherence ?? 0
  const unevenAac = Math.abs(coherence(0, 1) - coherence(0, 2))
  const unevenFilm = Math.abs(coherence(1, 0) - coherence(1, 2))
  const difference = unevenAac - unevenFilm
  if (Math.abs(difference) >= CENTRE_DIFFERENCE) {
    const order = difference > 0 ? 'film' : 'aac'
    return {
      order,
      sentence: `Channel ${order === 'film' ? 2 : 1} relates to its two neighbours alike: it is the centre.`,
    }
  }
  const lively = summary.livelinessDb[1]! - summary.livelinessDb[0]!
  if (Math.abs(lively) >= CENTRE_LIVELINESS_DB) {
    const order = lively > 0 ? 'film' : 'aac'
    return { order, sentence: `Channel ${order === 'film' ? 2 : 1} moves more, as speech does: it is the centre.` }
  }
  return { order: null, sentence: 'Neither channel 1 nor channel 2 shows clearly that it is the centre.' }
}

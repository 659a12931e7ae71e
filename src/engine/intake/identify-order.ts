import { type AudioSource, powerToDb } from '../../domain/index.ts'
import { type ChannelSketch, LOW_BAND_END_HZ, sketchChannels } from './channel-sketch.ts'

/** In which order six channels without a mask lie, as far as they show it themselves. */
export type OrderEvidence = {
  /** ITU L R C LFE Ls Rs, film L C R Ls Rs LFE, AAC C L R Ls Rs LFE; null where the channels do not show it. */
  readonly order: 'itu' | 'film' | 'aac' | null
  /** 0 (nothing known) to 1. */
  readonly confidence: number
  /** What was seen, in sentences to the mixer. Channels count from 1. */
  readonly evidence: string[]
}

const CHANNEL_COUNT = 6
const LFE_IN_ITU = 3
const LFE_IN_FILM_AND_AAC = 5
/** Below -90 dBFS over the blocks looked at, a channel counts as silent. */
const SILENT_ENERGY = 1e-9
/** Common practice: a few main channels may be silent (mono surrounds, an empty LFE), but not most of them. */
const FEWEST_SOUNDING = 4

/** An LFE has at most 1/25 (-14 dB) of its energy above the low band, and a tenth of the share of any other channel. */
const LARGEST_LFE_SHARE = 0.04
const SHARE_STEP = 10
/** A gap of this many dB to the next channel counts as certain. */
const CERTAIN_GAP_DB = 30
/** An empty LFE is the usual reason for one silent channel, not the only one. */
const SILENT_LFE_CONFIDENCE = 0.6

/** Least mean difference of correlations, least share of blocks that agree, and fewest blocks, to name the centre. */
const CENTRE_DIFFERENCE = 0.2
const CENTRE_AGREEMENT = 0.8
const CENTRE_BLOCKS = 6
/** Blocks with a smaller difference say nothing. */
const TELLING_DIFFERENCE = 0.05

/**
 * Finds the LFE among six channels by its lack of energy above the low band, and the centre by its even relation to
 * left and right. Reads a few bounded blocks. Gives null rather than a guess, and for any other number of channels.
 */
export function identifyOrder(source: AudioSource): OrderEvidence {
  const { channelCount } = source.format
  if (channelCount !== CHANNEL_COUNT) {
    return {
      order: null,
      confidence: 0,
      evidence: [`The order of ${channelCount} channels is not told by what they carry.`],
    }
  }
  const sketch = sketchChannels(source)
  const lfe = findLfe(sketch)
  if (lfe.channel === LFE_IN_ITU) return { order: 'itu', confidence: lfe.confidence, evidence: [lfe.sentence] }
  if (lfe.channel === LFE_IN_FILM_AND_AAC) {
    const centre = findCentre(sketch)
    return {
      order: centre.order,
      confidence: centre.order === null ? 0 : Math.min(lfe.confidence, centre.confidence),
      evidence: [lfe.sentence, centre.sentence],
    }
  }
  const nowhere = lfe.channel === null ? [] : ['No order that is known puts the LFE there.']
  return { order: null, confidence: 0, evidence: [lfe.sentence, ...nowhere] }
}

type FoundLfe = { readonly channel: number | null; readonly confidence: number; readonly sentence: string }

function findLfe({ energies, highEnergies }: ChannelSketch): FoundLfe {
  const isSilent = energies.map((energy) => energy < SILENT_ENERGY)
  const sounding = [...energies.keys()].filter((channel) => !isSilent[channel])
  if (sounding.length < FEWEST_SOUNDING) {
    return { channel: null, confidence: 0, sentence: `Only ${sounding.length} of 6 channels carry sound.` }
  }
  const share = (channel: number) => (highEnergies[channel] as number) / (energies[channel] as number)
  const [lowest, next] = sounding.toSorted((a, b) => share(a) - share(b)) as [number, number]
  if (share(lowest) <= LARGEST_LFE_SHARE && share(lowest) * SHARE_STEP <= share(next)) {
    const gapDb = Math.min(CERTAIN_GAP_DB, powerToDb(share(next)) - powerToDb(share(lowest)))
    const sentence =
      `Channel ${lowest + 1} has ${level(share(lowest))} of its energy above ${LOW_BAND_END_HZ} Hz, ` +
      `every other at least ${level(share(next))}: it is the LFE.`
    return { channel: lowest, confidence: gapDb / CERTAIN_GAP_DB, sentence }
  }
  const silent = [...energies.keys()].filter((channel) => isSilent[channel])
  if (silent.length === 1) {
    const [channel] = silent as [number]
    const sentence = `Channel ${channel + 1} alone is silent, as an unused LFE is.`
    return { channel, confidence: SILENT_LFE_CONFIDENCE, sentence }
  }
  const sentence =
    `No channel stands out by a lack of energy above ${LOW_BAND_END_HZ} Hz: ` +
    `the lowest share is ${level(share(lowest))}.`
  return { channel: null, confidence: 0, sentence }
}

function level(share: number): string {
  return `${Math.round(Math.max(-99, powerToDb(share)))} dB`
}

type FoundCentre = { readonly order: 'film' | 'aac' | null; readonly confidence: number; readonly sentence: string }

/**
 * The centre is related to left and right alike, whether much or little; left is related to right and to the centre
 * unlike. So the channel with the more even pair of correlations is the centre.
 */
function findCentre({ frontCorrelations, energies }: ChannelSketch): FoundCentre {
  const differences = frontCorrelations.flatMap((pair) => {
    if (pair === null) return []
    const [r01, r02, r12] = pair
    const difference = Math.abs(r01 - r02) - Math.abs(r01 - r12)
    return Math.abs(difference) < TELLING_DIFFERENCE ? [] : [difference]
  })
  const mean = differences.reduce((sum, difference) => sum + difference, 0) / Math.max(1, differences.length)
  const agreeing =
    differences.filter((difference) => difference > 0 === mean > 0).length / Math.max(1, differences.length)
  const order = mean > 0 ? 'film' : 'aac'
  const left = energies[order === 'film' ? 0 : 1] as number
  const sidesDb = Math.abs(powerToDb(left) - powerToDb(energies[2] as number))
  const isStrong =
    differences.length >= CENTRE_BLOCKS &&
    Math.abs(mean) >= CENTRE_DIFFERENCE &&
    agreeing >= CENTRE_AGREEMENT &&
    sidesDb <= LARGEST_SIDE_DIFFERENCE_DB
  if (!isStrong) {
    const sentence = 'Neither channel 1 nor channel 2 shows clearly that it is the centre.'
    return { order: null, confidence: 0, sentence }
  }
  const sentence =
    `Channel ${order === 'film' ? 2 : 1} relates to its neighbours alike in ${Math.round(agreeing * 100)} % ` +
    `of ${differences.length} telling blocks: it is the centre.`
  return { order, confidence: agreeing, sentence }
}

/** Left and right of a mix are about equally loud over a programme. */
const LARGEST_SIDE_DIFFERENCE_DB = 6

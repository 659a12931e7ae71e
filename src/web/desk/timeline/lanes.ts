/** Where the lanes of the timeline lie, from top to bottom, in CSS pixels. */
export type Lane = { readonly top: number; readonly height: number }

export type Lanes = {
  readonly overview: Lane
  readonly ruler: Lane
  /** Only of a two-track, which is upmixed. */
  readonly scenes: Lane | null
  readonly loudness: Lane
  readonly dialogue: Lane | null
  readonly trims: Lane
  /** What the fit does, said above its lanes; null where nothing can be fitted. */
  readonly fitWords: Lane | null
  /** Of a fit that was found. */
  readonly ride: Lane | null
  /** Where the LFE has a ride of its own. */
  readonly lfe: Lane | null
  readonly ceiling: Lane | null
  /** Where something is done to bands. */
  readonly bands: Lane | null
  /** Where an upmix puts the energy. */
  readonly energy: Lane | null
  readonly channels: readonly Lane[]
  /** Left edge and width of what is drawn over time; names of lanes stand left of it. */
  readonly left: number
  readonly width: number
  readonly height: number
}

const NAMES_WIDTH = 58
const RIGHT_MARGIN = 12
const GAP = 8
const OVERVIEW_HEIGHT = 34
const RULER_HEIGHT = 22
const DIALOGUE_HEIGHT = 12
const SCENES_HEIGHT = 24
const CHANNEL_GAP = 3
const FIT_WORDS_HEIGHT = 22
const LEAST_LOUDNESS_HEIGHT = 140
/** On a large screen trims and channels grow with it. */
const TRIMS = { least: 56, most: 150, share: 0.1 }
const RIDE = { least: 44, most: 130, share: 0.08 }
const LFE = { least: 34, most: 100, share: 0.06 }
/** What stands for which part is written above the shares. */
export const ENERGY_KEY_HEIGHT = 16
const ENERGY = { least: 44, most: 130, share: 0.08 }
const BY_STAGE = { least: 24, most: 70, share: 0.04 }
/** An opened channel shows its waveform. */
const OPENED = { least: 46, most: 120, share: 0.075 }
const CHANNEL = { least: 18, most: 64, share: 0.03 }

function grown(height: number, { least, most, share }: typeof TRIMS): number {
  return Math.round(Math.min(most, Math.max(least, height * share)))
}

/** What of the fit there is to show. */
export type FitShown = 'nothing' | 'words' | Readonly<Record<'hasLfe' | 'hasBands' | 'hasEnergy', boolean>>

/** Loudness takes the room that the others leave. `has.channels`: whether each is opened. */
export function layOut(
  width: number,
  height: number,
  has: {
    readonly channels: readonly boolean[]
    readonly dialogue: boolean
    readonly scenes: boolean
    readonly fit: FitShown
  },
): Lanes {
  const scenesHeight = has.scenes ? SCENES_HEIGHT + GAP : 0
  const trimsHeight = grown(height, TRIMS)
  const channelHeights = has.channels.map((isOpen) => grown(height, isOpen ? OPENED : CHANNEL))
  const channelsHeight = channelHeights.reduce((sum, one) => sum + one + CHANNEL_GAP, 0)
  const fit = layOutFit(height, has.fit)
  const others =
    OVERVIEW_HEIGHT +
    RULER_HEIGHT +
    scenesHeight +
    (has.dialogue ? DIALOGUE_HEIGHT + GAP : 0) +
    trimsHeight +
    fit.height +
    channelsHeight +
    4 * GAP
  const loudnessHeight = Math.max(LEAST_LOUDNESS_HEIGHT, height - others)
  const ruler = OVERVIEW_HEIGHT + GAP
  const loudness = ruler + RULER_HEIGHT + scenesHeight
  const dialogue = loudness + loudnessHeight + GAP
  const trims = dialogue + (has.dialogue ? DIALOGUE_HEIGHT + GAP : 0)
  const fitTop = trims + trimsHeight + GAP
  const channels = fitTop + fit.height
  return {
    overview: { top: 0, height: OVERVIEW_HEIGHT },
    ruler: { top: ruler, height: RULER_HEIGHT },
    scenes: has.scenes ? { top: ruler + RULER_HEIGHT + GAP / 2, height: SCENES_HEIGHT } : null,
    loudness: { top: loudness, height: loudnessHeight },
    dialogue: has.dialogue ? { top: dialogue, height: DIALOGUE_HEIGHT } : null,
    trims: { top: trims, height: trimsHeight },
    ...fit.at(fitTop),
    channels: channelHeights.map((one, index) => ({
      top: channelHeights.slice(0, index).reduce((sum, above) => sum + above + CHANNEL_GAP, channels),
      height: one,
    })),
    left: NAMES_WIDTH,
    width: Math.max(1, width - NAMES_WIDTH - RIGHT_MARGIN),
    height: channels + channelsHeight,
  }
}

/** The lanes of the fit, one below the other, each with a gap behind it. */
function layOutFit(height: number, shown: FitShown) {
  const found = typeof shown === 'object' ? shown : null
  const heights = {
    fitWords: shown === 'nothing' ? 0 : FIT_WORDS_HEIGHT,
    ride: found ? grown(height, RIDE) + GAP : 0,
    lfe: found?.hasLfe ? grown(height, LFE) + GAP : 0,
    ceiling: found ? grown(height, BY_STAGE) + GAP : 0,
    bands: found?.hasBands ? grown(height, BY_STAGE) + GAP : 0,
    energy: found?.hasEnergy ? ENERGY_KEY_HEIGHT + grown(height, ENERGY) + GAP : 0,
  }
  const lane = (top: number, room: number, gap = GAP): Lane | null => (room === 0 ? null : { top, height: room - gap })
  return {
    height: Object.values(heights).reduce((sum, one) => sum + one),
    at: (top: number) => {
      const ride = top + heights.fitWords
      const lfe = ride + heights.ride
      const ceiling = lfe + heights.lfe
      const bands = ceiling + heights.ceiling
      return {
        fitWords: lane(top, heights.fitWords, 2),
        ride: lane(ride, heights.ride),
        lfe: lane(lfe, heights.lfe),
        ceiling: lane(ceiling, heights.ceiling),
        bands: lane(bands, heights.bands),
        energy: lane(bands + heights.bands, heights.energy),
      }
    },
  }
}

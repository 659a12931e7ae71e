import type {
  DeliverySpec,
  MixerGain,
  Passage,
  PlacedLimit,
  PlacedLock,
  PlacedScene,
  Role,
  Trim,
} from '../../../domain/index.ts'
import type { FitCurves } from '../fit-curves.ts'
import type { Curves } from '../numbers.ts'
import type { SceneChoice } from '../scene-edits.ts'
import type { WaveformView } from '../use-waveform.ts'
import type { TimeWindow } from './time-window.ts'

/** Everything that the timeline shows; drawing computes nothing that is not here. */
export type Scene = {
  readonly durationSeconds: number
  readonly sampleRateHz: number
  readonly seen: TimeWindow
  readonly spec: DeliverySpec | null
  /** As the source is, and as it would be with the trims; the same where there are none. */
  readonly before: Curves
  readonly after: Curves
  readonly speech: Uint8Array | null
  readonly channels: readonly { readonly role: Role; readonly powers: Float32Array }[]
  readonly waveform: WaveformView
  readonly passages: readonly Passage[]
  readonly trims: readonly Trim[]
  /** Trims and hand rides together, as they are decided. */
  readonly gains: readonly MixerGain[]
  readonly locks: readonly PlacedLock[]
  readonly limits: readonly PlacedLimit[]
  /** Stretches with upmix settings of their own. */
  readonly scenes: readonly PlacedScene[]
  readonly chosenScene: SceneChoice | null
  /** Whether this is a two-track that becomes a 5.1: only then are there scenes. */
  readonly isUpmixed: boolean
  /** Gain of the trims at each 100 ms; null without trims. */
  readonly points: Float64Array | null
  /** Whether there is something to fit to. */
  readonly canBeFitted: boolean
  /** What the fit does, once it was found; it may be of the sheet as it stood before. */
  readonly fit: FitCurves | null
  readonly isFitOld: boolean
  readonly selection: { readonly startFrame: number; readonly endFrame: number } | null
  readonly chosenTrim: number | null
  readonly chosenPassage: number | null
  /** Where the pointer or the keys read, in seconds; null nowhere. */
  readonly reading: number | null
  /** The frame that is heard; null while nothing was played. */
  readonly playing: number | null
  /** The instant of a frame, as the ruler and the readings write it. */
  readonly label: (frame: number) => string
}

/** Colours by the names of the palette, read from the page. */
export type Ink = Readonly<Record<'paper' | 'chart' | 'ink' | 'slate' | 'tide' | 'rust' | 'brass' | 'kelp', string>>

/** Range of the loudness lane in LKFS. */
export type Depths = { readonly top: number; readonly bottom: number }

const CUSTOMARY_TARGET_LKFS = -23
const ROOM_ABOVE_LU = 14
const ROOM_BELOW_LU = 26

export function depthsOf(spec: DeliverySpec | null): Depths {
  const target = spec?.programmeLoudness.targetLkfs ?? CUSTOMARY_TARGET_LKFS
  return { top: target + ROOM_ABOVE_LU, bottom: target - ROOM_BELOW_LU }
}

/** Trims and gains are drawn over this span above and below none. */
export const TRIM_SPAN_DB = 12

import { defaultSettings } from './parameters.ts'
import type { Sheet } from './sheet.ts'
import { UPMIX_PARAMETERS, type UpmixSettings } from './upmix-parameters.ts'

/** Upmix settings to start from, by what the programme is. What they do not name keeps its default. */
export type UpmixStart = {
  /** As sheets and `--start` name it. */
  readonly id: string
  readonly title: string
  /** Why these settings, in one sentence to the mixer. */
  readonly reason: string
  readonly settings: Partial<UpmixSettings>
}

/** @source docs/decisions/0019: our own choices; practice of film matrix surrounds is common practice */
export const UPMIX_STARTS: readonly UpmixStart[] = [
  {
    id: 'drama-dialogue',
    title: 'Drama with dialogue',
    reason:
      'Dialogue goes to the centre whole, and the surrounds hold back while somebody speaks, so that lines stay clean ' +
      'when the centre is raised or heard alone.',
    settings: {
      centreShare: 1,
      centreDiffuseReject: 0.5,
      centreSpeechFill: 0.25,
      surroundSpeechReject: 1,
      ambienceShare: 1,
    },
  },
  {
    id: 'live-music',
    title: 'Live music',
    reason:
      'Half of the middle and all of the bass stay between left and right, so that a band keeps its width, and the hall ' +
      'comes from behind also while somebody sings.',
    settings: {
      centreShare: 0.5,
      centreReach: 0.5,
      surroundSpeechReject: 0.3,
      ambienceShare: 1.2,
      ambienceStrictness: 0.3,
      surroundLowCutHz: 60,
      centreLowCutHz: 120,
    },
  },
  {
    id: 'documentary',
    title: 'Documentary',
    reason:
      'The narrator stands in the centre alone; little and clean ambience goes behind, and its treble is taken off, so ' +
      'that location noise does not draw the ear there.',
    settings: {
      centreShare: 1,
      centreSpeechFill: 0.5,
      ambienceShare: 0.7,
      ambienceStrictness: 0.8,
      surroundHighCutHz: 10000,
    },
  },
  {
    id: 'mono-source',
    title: 'Mono on two tracks',
    reason:
      'Everything goes to the centre and nothing behind: two equal tracks hold no ambience, and what differs between ' +
      'them is noise of the tape.',
    settings: { centreShare: 1, centreDiffuseReject: 0, surroundSpeechReject: 1, ambienceShare: 0 },
  },
  {
    id: 'archive-lt-rt',
    title: 'Archive Lt/Rt',
    reason:
      'The surround is decoded, and its treble above 7 kHz left in front, where encoders of the time put none; the delay ' +
      'of a surround belongs to the room, and its noise reduction is not decoded.',
    settings: { kind: 'lt-rt', centreShare: 1, surroundHighCutHz: 7000 },
  },
]

/** The starting settings of that name; null where there are none. */
export function findUpmixStart(id: string): UpmixStart | null {
  return UPMIX_STARTS.find((start) => start.id === id) ?? null
}

/** What a sheet sets outside of its scenes: over the defaults go starting settings, the kind of the sources, then its own. */
export function upmixSettingsOf({ upmix, sources }: Pick<Sheet, 'upmix' | 'sources'>): UpmixSettings {
  const kind = sources.find((file) => file.kind !== null)?.kind ?? null
  return {
    ...defaultSettings(UPMIX_PARAMETERS),
    ...(upmix.start === null ? {} : findUpmixStart(upmix.start)?.settings),
    ...(kind === null ? {} : { kind }),
    ...upmix.settings,
  }
}

/** What of some settings may differ from scene to scene. */
export function sceneSettings(settings: Partial<UpmixSettings>): Readonly<Record<string, number | string>> {
  return Object.fromEntries(
    Object.entries(settings).filter(([name]) => UPMIX_PARAMETERS[name as keyof UpmixSettings].glide !== 'fixed'),
  )
}

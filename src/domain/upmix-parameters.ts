import type { ParameterTable, SettingsOf } from './parameters.ts'

/** The lowest settings of these controls mean that the stage is off. */
export const LFE_OFF_DB = -60
export const SURROUND_LOW_CUT_OFF_HZ = 20
export const CENTRE_LOW_CUT_OFF_HZ = 20
/** The highest setting means off. */
export const SURROUND_HIGH_CUT_OFF_HZ = 20000
/** The widest reach means that the centre takes common sound wherever it stands between left and right. */
const CENTRE_REACH_WHOLE = 1

/**
 * The controls of the upmix from two tracks to 5.1.
 * @source docs/decisions: ranges and defaults are ours
 */
export const UPMIX_PARAMETERS = {
  kind: {
    kind: 'choice',
    unit: null,
    choices: ['auto', 'stereo', 'lt-rt'],
    default: 'auto',
    glide: 'fixed',
    sentence:
      'What the master is: lt-rt is decoded, stereo is pulled apart, and auto goes by what the tracks are found to be.',
  },
  centreShare: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1,
    default: 1,
    glide: 'ramp',
    sentence: 'How much of the sound that left and right have in common moves to the centre; the rest stays a phantom.',
  },
  centreReach: {
    kind: 'number',
    unit: null,
    min: 0.05,
    max: CENTRE_REACH_WHOLE,
    default: CENTRE_REACH_WHOLE,
    glide: 'frame',
    sentence: 'How far from the middle a sound may stand and still feed the centre; 1 feeds it from every position.',
  },
  centreDiffuseReject: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1,
    default: 0.5,
    glide: 'frame',
    sentence: 'Keeps room and ambience out of the centre; high values make the dialogue less clean.',
  },
  centreLowCutHz: {
    kind: 'number',
    unit: 'Hz',
    min: CENTRE_LOW_CUT_OFF_HZ,
    max: 300,
    default: CENTRE_LOW_CUT_OFF_HZ,
    glide: 'fade',
    sentence:
      'Leaves bass below this frequency in left and right, without phase shift, as music wants it; 20 Hz is off.',
  },
  centreSpeechFill: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1,
    default: 0,
    glide: 'frame',
    sentence:
      'While a voice is heard, gives the centre more of what stands near the middle, whatever it is: steadier dialogue, narrower images.',
  },
  surroundSpeechReject: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1,
    default: 1,
    glide: 'frame',
    sentence:
      'Holds the surrounds back in the speech range, and makes them less unlike, while a voice is heard; where nobody listened, while something in the middle may speak.',
  },
  ambienceShare: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1.41,
    default: 1,
    glide: 'ramp',
    sentence: 'How much of the ambience goes to the surrounds; 1.41 takes all of it out of the fronts.',
  },
  ambienceStrictness: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1.5,
    default: 0.5,
    glide: 'frame',
    sentence: 'How diffuse a sound must be to reach the surrounds; high values send less of it, but cleaner.',
  },
  directRejection: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1,
    default: 0.65,
    glide: 'frame',
    sentence:
      'Cancels direct sound in the surrounds; at 1 the two share nothing, lower values leave a little of it in both.',
  },
  surroundHighCutHz: {
    kind: 'number',
    unit: 'Hz',
    min: 2000,
    max: SURROUND_HIGH_CUT_OFF_HZ,
    default: SURROUND_HIGH_CUT_OFF_HZ,
    glide: 'fade',
    sentence: 'Takes treble above this frequency off the surrounds, without phase shift; 20000 Hz is off.',
  },
  surroundLowCutHz: {
    kind: 'number',
    unit: 'Hz',
    min: SURROUND_LOW_CUT_OFF_HZ,
    max: 400,
    default: 100,
    glide: 'fade',
    sentence: 'Keeps bass below this frequency out of the surrounds, without phase shift; 20 Hz is off.',
  },
  surroundDelayMs: {
    kind: 'number',
    unit: 'ms',
    min: 0,
    max: 40,
    default: 0,
    glide: 'fade',
    sentence: 'Delays the surrounds against the fronts.',
  },
  surroundSpread: {
    kind: 'choice',
    unit: null,
    choices: ['none', 'velvet', 'quadrature'],
    default: 'none',
    glide: 'fade',
    sentence:
      'Makes the surrounds less like the fronts: by sparse noise of 30 ms (also less like each other), or by +90 and -90 degrees.',
  },
  surroundNoiseHold: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1,
    default: 1,
    glide: 'frame',
    sentence: 'Keeps steady hiss in left and right, where it was found under the programme; 0 treats it as ambience.',
  },
  surroundBalance: {
    kind: 'number',
    unit: null,
    min: -1,
    max: 1,
    default: 0,
    glide: 'ramp',
    sentence: 'Moves ambience between front (-1, 3 dB less in the surrounds) and back (+1, 3 dB more).',
  },
  monoAmbience: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1,
    default: 0,
    glide: 'ramp',
    sentence: 'Where both tracks are the same, adds a little room to the surrounds, made from the centre; 0 is none.',
  },
  azimuthTracking: {
    kind: 'choice',
    unit: null,
    choices: ['on', 'off'],
    default: 'on',
    glide: 'fixed',
    sentence: 'Follows the small delay of a skewed tape head, so that the centre keeps its treble.',
  },
  tracks: {
    kind: 'choice',
    unit: null,
    choices: ['both', 'left', 'right'],
    default: 'both',
    glide: 'fixed',
    sentence: 'Makes the master from both tracks, or from one of them as a mono programme.',
  },
  polarity: {
    kind: 'choice',
    unit: null,
    choices: ['as-is', 'flip-left', 'flip-right'],
    default: 'as-is',
    glide: 'fixed',
    sentence: 'Turns one track of the master upside down before anything is made of it.',
  },
  trackAlignment: {
    kind: 'choice',
    unit: null,
    choices: ['as-is', 'align'],
    default: 'as-is',
    glide: 'fixed',
    sentence:
      'Brings the late track of the master forward, where one offset holds all along; the stereo is aligned too.',
  },
  frontSpread: {
    kind: 'number',
    unit: null,
    min: 0,
    max: 1.5,
    default: 1,
    glide: 'ramp',
    sentence: 'Narrows or widens what remains in left and right; any value but 1 opens the fold-down lock.',
  },
  lfeGainDb: {
    kind: 'number',
    unit: 'dB',
    min: LFE_OFF_DB,
    max: 0,
    default: LFE_OFF_DB,
    glide: 'ramp',
    sentence: 'Feeds the LFE from the bass of both tracks, on top of what the mains keep; -60 dB is off.',
  },
  lfeCornerHz: {
    kind: 'number',
    unit: 'Hz',
    min: 60,
    max: 120,
    default: 100,
    glide: 'fade',
    sentence: 'The frequency below which the LFE is fed.',
  },
} as const satisfies ParameterTable

/** One value for each control of the upmix. */
export type UpmixSettings = SettingsOf<typeof UPMIX_PARAMETERS>

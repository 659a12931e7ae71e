import { BAND_PARAMETERS } from './band-parameters.ts'
import type { ParameterTable, SettingsOf } from './parameters.ts'

/**
 * The controls of the fit.
 * @source docs/decisions: ranges and defaults are ours
 */
export const FIT_PARAMETERS = {
  stages: {
    kind: 'choice',
    unit: null,
    choices: ['all', 'trims'],
    default: 'all',
    glide: 'fixed',
    sentence:
      "What is applied: everything that the spec asks for (all), or only the mixer's own trims, without static gain, " +
      'ride and ceiling, to hear and measure what they do by themselves (trims).',
  },
  lowEnd: {
    kind: 'choice',
    unit: null,
    choices: ['off', 'auto', 'manual'],
    default: 'off',
    glide: 'fixed',
    sentence:
      'Turns excess low end down before anything else, the same on all channels and on the stereo: found by itself ' +
      '(auto: above the 95th percentile of its own level + 3 dB, and further than the rest is above its own), or by threshold, ratio, ' +
      'attack and release (manual).',
  },
  lowEndCrossoverHz: {
    kind: 'number',
    unit: 'Hz',
    min: 40,
    max: 160,
    default: 80,
    glide: 'fixed',
    sentence:
      'Crossover below which low end is treated; no phase is turned, and 200 Hz moves by 0.2 dB at most at 80 Hz.',
  },
  lowEndThresholdDbfs: {
    kind: 'number',
    unit: 'dBFS',
    min: -80,
    max: 0,
    default: -20,
    glide: 'fixed',
    sentence: 'Manual: RMS level of the low band, all channels but the LFE together, above which it is turned down.',
  },
  lowEndRatio: {
    kind: 'number',
    unit: null,
    min: 1,
    max: 20,
    default: 3,
    glide: 'fixed',
    sentence: 'Manual: how many decibels above the threshold leave one.',
  },
  lowEndAttackSeconds: {
    kind: 'number',
    unit: 's',
    min: 0.1,
    max: 5,
    default: 0.2,
    glide: 'fixed',
    sentence: 'Manual: time in which the low band is turned down; it begins as long before, since what comes is known.',
  },
  lowEndReleaseSeconds: {
    kind: 'number',
    unit: 's',
    min: 0.1,
    max: 30,
    default: 1,
    glide: 'fixed',
    sentence: 'Manual: time in which the low band comes back by 10 dB.',
  },
  ...BAND_PARAMETERS,
  rideReachSeconds: {
    kind: 'number',
    unit: 's',
    min: 0.2,
    max: 20,
    default: 4,
    glide: 'fixed',
    sentence:
      'How long before and after a loud passage the ride may already move; longer is gentler but starts earlier.',
  },
  rideSlewDbPerSecond: {
    kind: 'number',
    unit: 'dB/s',
    min: 0.1,
    max: 20,
    default: 3,
    glide: 'fixed',
    sentence: 'The fastest that the ride may rise or fall where something sounds.',
  },
  ridePauseSlewDbPerSecond: {
    kind: 'number',
    unit: 'dB/s',
    min: 0.1,
    max: 60,
    default: 12,
    glide: 'fixed',
    sentence: 'The fastest that the ride may rise or fall in a pause; never slower than elsewhere.',
  },
  rideAttackSlewDbPerSecond: {
    kind: 'number',
    unit: 'dB/s',
    min: 0.1,
    max: 120,
    default: 60,
    glide: 'fixed',
    sentence:
      'The fastest that the ride may fall or rise in the 0.2 s after a hit begins, which hides it; never slower than elsewhere.',
  },
  quietLiftMostDb: {
    kind: 'number',
    unit: 'dB',
    min: 0,
    max: 20,
    default: 0,
    glide: 'fixed',
    sentence:
      'How far the ride may lift quiet passages above the static gain, noise and all; 0: not at all. Silence and room tone ' +
      'more than 20 LU below the programme are never lifted.',
  },
  quietFloorLu: {
    kind: 'number',
    unit: 'LU',
    min: 3,
    max: 20,
    default: 12,
    glide: 'fixed',
    sentence:
      'Passages whose short-term loudness lies further than this below the target count as quiet and are lifted up to it.',
  },
  ceilingAimBelowDb: {
    kind: 'number',
    unit: 'dB',
    min: 0,
    max: 1,
    default: 0.1,
    glide: 'fixed',
    sentence: 'How far below the true-peak line the ceiling stands, so that other meters agree.',
  },
  ceilingLink: {
    kind: 'choice',
    unit: null,
    choices: ['all', 'groups', 'none'],
    default: 'all',
    glide: 'fixed',
    sentence:
      'What shares a gain while the ceiling catches a peak: all channels (all); L and R, C, and the surrounds, each by ' +
      'themselves (groups); or every channel by itself (none; L and R of an upmix stay together). A loud peak then moves ' +
      'no other group, so images may shift by ceilingUnlinkedMostDb. An upmix still folds down to its stereo, sample for ' +
      'sample: what C and surrounds lose is left in L and R, and the report says how much (front residue).',
  },
  ceilingUnlinkedMostDb: {
    kind: 'number',
    unit: 'dB',
    min: 0.1,
    max: 6,
    default: 1,
    glide: 'fixed',
    sentence:
      'The most that a group or channel gives by itself where ceilingLink is not all; what is beyond, all give.',
  },
  anchor: {
    kind: 'choice',
    unit: null,
    choices: ['5.1', 'balanced'],
    default: '5.1',
    glide: 'fixed',
    sentence:
      'What lands on the target: the 5.1 itself, or the middle between the 5.1 and its fold-down, which read differently.',
  },
  stereoGain: {
    kind: 'choice',
    unit: null,
    choices: ['auto', 'linked', 'own'],
    default: 'auto',
    glide: 'fixed',
    sentence:
      'One gain for the 5.1 and its stereo (linked), which keeps the fold-down lock; a constant of its own for the ' +
      'stereo (own); or linked while the tolerance of the spec allows it (auto).',
  },
} as const satisfies ParameterTable

/** One value for each control of the fit. */
export type FitSettings = SettingsOf<typeof FIT_PARAMETERS>

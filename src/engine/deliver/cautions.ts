/**
 * Said in every report.
 * @source hearing: NIOSH 98-126 (85 dBA for 8 hours, half the time for every 3 dB; from memory)
 */
export const CAUTIONS: readonly string[] = [
  'Hearing: set the monitor level low before the first playback. At a cinema reference level full scale exceeds ' +
    '100 dB SPL. 85 dBA is safe for 8 hours a day, and half as long for every 3 dB more (NIOSH). Test tones and raised ' +
    'levels can hurt ears and damage loudspeakers.',
  "Delivery: the spec is transcribed from published documents and may be out of date. The recipient's current written " +
    'spec, and local broadcast law, decide.',
  'Masters: the source was opened for reading only and was not changed.',
]

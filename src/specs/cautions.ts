/** Said wherever a preset is shown. */
export const PRESET_CAUTION =
  "Transcribed from published documents and perhaps out of date: the recipient's current written spec, and local " +
  'broadcast law, decide.'

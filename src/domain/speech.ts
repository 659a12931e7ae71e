/** Where there is speech, found by the speech detector on the centre (multichannel) or the mid (two-track). */
export type SpeechLane = {
  /** Probability of speech in each whole 100 ms hop, 0..255; quantised before it steers anything. */
  readonly probability100ms: Uint8Array
  /** 1 where the hop counts as speech. */
  readonly isSpeech100ms: Uint8Array
  /** SHA-256 of the model that listened. */
  readonly modelSha256: string
}

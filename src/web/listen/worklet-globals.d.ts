/** What the audio thread has that a page has not. */
declare const sampleRate: number
/** When the block begins that is made now, in seconds of the audio context. */
declare const currentTime: number
declare function registerProcessor(name: string, processor: unknown): void
declare class AudioWorkletProcessor {
  readonly port: MessagePort
}

import { readFileSync } from 'node:fs'
import { packSpeechWeights } from '../../src/dsp/index.ts'
import { readSpeechModel } from '../../src/speech/index.ts'

/** The speech detector's model as its package brings it. */
export function speechModelFile(): Uint8Array {
  const path = '../../node_modules/@ricky0123/vad-web/dist/silero_vad_v6.onnx'
  return new Uint8Array(readFileSync(new URL(path, import.meta.url)))
}

/** Its weights as the kernel reads them. */
export function speechWeights(): Float32Array {
  return packSpeechWeights(readSpeechModel(speechModelFile()))
}

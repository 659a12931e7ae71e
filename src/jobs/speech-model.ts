import { createHash } from 'node:crypto'
import { readFileSync } from 'node:fs'
import { assert, SPEECH_MODEL_SHA256 } from '../domain/index.ts'
import { packSpeechWeights } from '../dsp/index.ts'
import { readSpeechModel } from '../speech/index.ts'

/** The speech detector's weights, ready for the kernel, in memory that workers can share. */
export function loadSpeechWeights(): Float32Array {
  const file = readFileSync(new URL('../../build/speech-model.onnx', import.meta.url))
  const sha256 = createHash('sha256').update(file).digest('hex')
  assert(sha256 === SPEECH_MODEL_SHA256, 'the speech model is the one that was tested')
  const packed = packSpeechWeights(readSpeechModel(file))
  const shared = new Float32Array(new SharedArrayBuffer(packed.byteLength))
  shared.set(packed)
  return shared
}

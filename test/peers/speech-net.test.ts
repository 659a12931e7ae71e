import { readFileSync } from 'node:fs'
import { env, InferenceSession, Tensor } from 'onnxruntime-web'
import { expect, test } from 'vitest'
import { packSpeechWeights, speechProbabilities, takeSpeechSignal } from '../../src/dsp/index.ts'
import { readSpeechModel } from '../../src/speech/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { speechModelFile } from '../testkit/speech-model.ts'

// Outside authority: ONNX Runtime runs the model file as its makers publish it. The model takes 64 samples of the chunk
// before in front of each 512, and its state from chunk to chunk.
const CHUNKS = 140
const WINDOW = 100
const LEAD = 50
const READ_NOVEL = '/usr/share/pocketsphinx/test/data/librivox/sense_and_sensibility_01_austen_64kb-0880.wav'

/** The sentence over and over: it lasts 3 s. */
function voice(): Float32Array {
  const file = readFileSync(READ_NOVEL)
  const sampleCount = (file.length - 44) >> 1
  return Float32Array.from({ length: CHUNKS * 512 }, (_, i) => file.readInt16LE(44 + 2 * (i % sampleCount)) / 32768)
}

async function byOnnxRuntime(session: InferenceSession, samples: Float32Array, from: number, to: number) {
  const told: number[] = []
  let state = new Tensor('float32', new Float32Array(256), [2, 1, 128])
  for (let chunk = from; chunk < to; chunk++) {
    const heard = Float32Array.from({ length: 576 }, (_, i) => samples[chunk * 512 - 64 + i] ?? 0)
    const sr = new Tensor('int64', [16000n], [])
    const { output, stateN } = await session.run({ input: new Tensor('float32', heard, [1, 576]), state, sr })
    told.push((output as Tensor).data[0] as number)
    state = stateN as typeof state
  }
  return told
}

test('the kernel hears in a real voice what ONNX Runtime hears', async () => {
  const file = speechModelFile()
  const kernels = loadKernels(32 * 1024 * 1024)
  const samples = voice()
  const signal = takeSpeechSignal(kernels, CHUNKS)
  new Float32Array(kernels.memory.buffer, signal.address, samples.length).set(samples)
  const ours = speechProbabilities(kernels, packSpeechWeights(readSpeechModel(file)), signal, 0)

  env.wasm.numThreads = 1
  const session = await InferenceSession.create(file, { executionProviders: ['wasm'] })
  const theirs = await byOnnxRuntime(session, samples, 0, WINDOW)
  theirs.push(...(await byOnnxRuntime(session, samples, WINDOW - LEAD, CHUNKS)).slice(LEAD))

  expect(Math.max(...theirs)).toBeGreaterThan(0.99)
  expect(Math.min(...theirs)).toBeLessThan(0.1)
  for (const [chunk, probability] of theirs.entries()) expect(Math.abs(ours[chunk]! - probability)).toBeLessThan(1e-5)
}, 60_000)

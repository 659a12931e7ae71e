import { readFile } from 'node:fs/promises'
import { FLACDecoder } from '@wasm-audio-decoders/flac'
import { SAMPLE_RATE_HZ } from '../synthesis/signal.ts'
import { LINES, type LineName } from './lines.ts'

const STORED_RATE_HZ = 16000
const FACTOR = SAMPLE_RATE_HZ / STORED_RATE_HZ
const TAPS_EACH_SIDE = 16

/** The stored lines at the demo's sample rate, peak 0.7 of full scale. */
export async function readLines(): Promise<Record<LineName, Float32Array>> {
  const decoder = new FLACDecoder()
  await decoder.ready
  const lines = {} as Record<LineName, Float32Array>
  for (const name of Object.keys(LINES) as LineName[]) {
    const file = await readFile(new URL(`./${name}.flac`, import.meta.url))
    const { channelData, sampleRate } = await decoder.decodeFile(new Uint8Array(file))
    const [samples] = channelData
    if (samples === undefined || sampleRate !== STORED_RATE_HZ) throw new Error(`${name}.flac is not mono at 16 kHz`)
    lines[name] = upsampled(samples)
    await decoder.reset()
  }
  decoder.free()
  return lines
}

/** Three samples out of one, through a windowed sinc. */
function upsampled(samples: Float32Array): Float32Array {
  const kernels = Array.from({ length: FACTOR }, (_, phase) => sincKernel(phase / FACTOR))
  const result = new Float32Array(samples.length * FACTOR)
  for (let f = 0; f < result.length; f++) {
    const kernel = kernels[f % FACTOR]
    const first = Math.floor(f / FACTOR) - TAPS_EACH_SIDE + 1
    let total = 0
    for (let k = 0; k < kernel.length; k++) total += kernel[k] * (samples[first + k] ?? 0)
    result[f] = total
  }
  return result
}

function sincKernel(offset: number): Float64Array {
  return Float64Array.from({ length: 2 * TAPS_EACH_SIDE }, (_, k) => {
    const x = k - TAPS_EACH_SIDE + 1 - offset
    const window = 0.5 + 0.5 * Math.cos((Math.PI * x) / TAPS_EACH_SIDE)
    return (x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x)) * window
  })
}

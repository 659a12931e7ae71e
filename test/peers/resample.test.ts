import { execFileSync } from 'node:child_process'
import { describe, expect, test } from 'vitest'
import { SAMPLE_RATES_HZ } from '../../src/domain/index.ts'
import { resampleForSpeech, resamplerShape } from '../../src/dsp/index.ts'
import { loadKernels } from '../testkit/kernels.ts'

// Outside authority: scipy.signal.resample_poly with a longer filter, and the sampling theorem.
const kernels = loadKernels(16 * 1024 * 1024)
const SECONDS = 0.8
const OUT = SECONDS * 16000

function resampled(signal: Float64Array, sampleRateHz: number): Float64Array {
  const mark = kernels.arena.mark()
  const { reachFrames } = resamplerShape(sampleRateHz)
  const length = signal.length + 2 * reachFrames
  const address = kernels.arena.take(length * 4)
  new Float32Array(kernels.memory.buffer, address, length).fill(0).set(signal, reachFrames)
  const out = new Float32Array(kernels.memory.buffer, kernels.arena.take(OUT * 4), OUT)
  const from = { address: address + 4 * reachFrames, sampleRateHz }
  resampleForSpeech(kernels, from, { address: out.byteOffset, count: OUT })
  kernels.arena.release(mark)
  return Float64Array.from(out)
}

function byScipy(signal: Float64Array, sampleRateHz: number): Float64Array {
  const script = new URL('resample-oracle.py', import.meta.url).pathname
  const args = { input: new Uint8Array(signal.buffer), maxBuffer: 1 << 26 }
  return new Float64Array(
    Uint8Array.from(execFileSync('/usr/bin/python3', [script, String(sampleRateHz)], args)).buffer,
  )
}

const sine = (hz: number, sampleRateHz: number, phase = 0) =>
  Float64Array.from({ length: SECONDS * sampleRateHz }, (_, i) =>
    Math.sin((2 * Math.PI * hz * i) / sampleRateHz + phase),
  )

/** RMS of the middle, where no edge is near, in dB of a full-scale sine. */
function levelDb(samples: Float64Array): number {
  const middle = samples.subarray(800, OUT - 800)
  return 10 * Math.log10((2 * middle.reduce((sum, sample) => sum + sample * sample, 0)) / middle.length)
}

describe.each(SAMPLE_RATES_HZ)('%i Hz to 16 kHz', (rate) => {
  test('up to 7 kHz it is what SciPy makes of it, in time and level', () => {
    const tones = [63, 440, 1000, 2990, 5000, 7000]
    const signal = tones.map((hz, i) => sine(hz, rate, i)).reduce((sum, tone) => sum.map((x, i) => x + tone[i]! / 6))
    const theirs = byScipy(signal, rate)
    expect(levelDb(resampled(signal, rate).map((sample, i) => sample - theirs[i]!))).toBeLessThan(-80)
  })

  test.each([8850, 10000, 13000, 15900])('%i Hz does not come back below 7.2 kHz', (hz) => {
    expect(levelDb(resampled(sine(hz, rate), rate))).toBeLessThan(-80)
  })
})

import { execFileSync } from 'node:child_process'
import { describe, expect, it } from 'vitest'
import { type AudioSource, bytesPerFrame } from '../../src/domain/index.ts'
import { type FoldJob, foldSegment } from '../../src/engine/render/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { noise } from '../testkit/mixes.ts'

const kernels = loadKernels(64 * 1024 * 1024)
const FORMAT = { encoding: 'int24', channelCount: 6, sampleRateHz: 48000 } as const
const FRAMES = 3 * 48000
const FULL_SCALE = 8388608

/** 24-bit 5.1 that no fold-down brings above full scale: noise, or sums of sines between 60 Hz and 18 kHz. */
function programmePcm(kind: 'noise' | 'sines'): Buffer {
  const random = noise(775)
  const sines = Array.from({ length: 6 }, (_, channel) =>
    Array.from({ length: 40 }, (_, n) => ({
      turn: (2 * Math.PI * 60 * 300 ** ((n + channel / 6) / 40)) / FORMAT.sampleRateHz,
      phase: Math.PI * random(),
    })),
  )
  const pcm = Buffer.alloc(FRAMES * bytesPerFrame(FORMAT))
  for (let frame = 0; frame < FRAMES; frame++) {
    const edge = Math.min(1, frame / 24000, (FRAMES - frame) / 24000)
    for (let channel = 0; channel < 6; channel++) {
      const sum = sines[channel]!.reduce((x, { turn, phase }) => x + Math.sin(turn * frame + phase), 0) / 40
      const sample = kind === 'noise' ? random() : edge * sum
      pcm.writeIntLE(Math.round(0.25 * FULL_SCALE * sample), (frame * 6 + channel) * 3, 3)
    }
  }
  return pcm
}

function foldedWords(pcm: Buffer, to: FoldJob['to']): number[] {
  const size = bytesPerFrame(FORMAT)
  const source: AudioSource = {
    format: FORMAT,
    layout: '5.1',
    frameCount: FRAMES,
    readInto: (into, frame, count) => into.set(pcm.subarray(frame * size, (frame + count) * size)),
  }
  const job: FoldJob = { source, to, gainDb: 0, encoding: 'int24', ditherSeed: [1, 2] }
  const { words, overs } = foldSegment(kernels, job, { index: 0, firstFrame: 0, frameCount: FRAMES })
  expect(overs).toBe(0)
  const bytes = Buffer.from(words.buffer)
  return Array.from({ length: words.length / 3 }, (_, i) => bytes.readIntLE(i * 3, 3))
}

function doubles(bytes: Buffer): Float64Array {
  return new Float64Array(Uint8Array.from(bytes).buffer)
}

function byNumPy(pcm: Buffer, to: FoldJob['to']): Float64Array {
  const script = new URL('fold-oracle.py', import.meta.url).pathname
  return doubles(execFileSync('/usr/bin/python3', [script, to], { input: pcm, maxBuffer: 1 << 28 }))
}

function byFfmpeg(pcm: Buffer, matrix: string): Float64Array {
  const input = ['-f', 's24le', '-ar', '48000', '-ac', '6', '-channel_layout', '5.1', '-i', 'pipe:0']
  const filter = ['-af', `aformat=sample_fmts=dblp,${matrix}`]
  const output = ['-c:a', 'pcm_f64le', '-f', 'f64le', 'pipe:1']
  return doubles(
    execFileSync('ffmpeg', ['-v', 'error', ...input, ...filter, ...output], { input: pcm, maxBuffer: 1 << 28 }),
  )
}

const noisePcm = programmePcm('noise')

describe('fold-downs against general-purpose tools', () => {
  // Law: ITU-R BS.775-4 Table 2, computed by NumPy as a matrix product in float64 and rounded half up.
  it.each(['lo-ro', 'mono'] as const)('%s of 24-bit words is NumPy to the bit', (to) => {
    const words = foldedWords(noisePcm, to)
    const peer = byNumPy(noisePcm, to)
    expect(peer).toHaveLength(words.length)
    expect(words.filter((word, i) => word !== peer[i])).toHaveLength(0)
  })

  // FFmpeg's `pan` with "=" does not normalise; k as BS.775-4 prints it, and in full.
  const k = '0.7071067811865476'
  const matrices = [
    { to: 'lo-ro', matrix: `pan=stereo|c0=c0+${k}*c2+${k}*c4|c1=c1+${k}*c2+${k}*c5` },
    { to: 'mono', matrix: `pan=mono|c0=${k}*c0+${k}*c1+c2+0.5*c4+0.5*c5` },
  ] as const
  it.each(matrices)('$to of 24-bit words is within one step of FFmpeg', ({ to, matrix }) => {
    const words = foldedWords(noisePcm, to)
    const peer = byFfmpeg(noisePcm, matrix)
    expect(peer).toHaveLength(words.length)
    const worst = words.reduce((most, word, i) => Math.max(most, Math.abs(word - peer[i]! * FULL_SCALE)), 0)
    expect(worst).toBeLessThanOrEqual(1)
    expect(worst).toBeGreaterThan(0.4)
  })

  // ATSC A/52 7.8.2 (from memory) with SciPy's analytic signal as the 90 degrees. A level error of 0.1 dB is -38.7 dB.
  it('Lt/Rt differs from SciPy by less than 0.1 dB of the surrounds', () => {
    const pcm = programmePcm('sines')
    const words = foldedWords(pcm, 'lt-rt')
    const peer = byNumPy(pcm, 'lt-rt')
    expect(peer).toHaveLength(words.length)
    const fronts = byNumPy(pcm, 'lo-ro')
    const power = (at: (i: number) => number) => words.reduce((sum, _, i) => sum + at(i) ** 2, 0)
    const error = power((i) => words[i]! - peer[i]!)
    expect(10 * Math.log10(error / power((i) => peer[i]!))).toBeLessThan(-40)
    // The same figure for a surround that is not turned shows that the comparison can fail.
    expect(10 * Math.log10(power((i) => fronts[i]! - peer[i]!) / power((i) => peer[i]!))).toBeGreaterThan(-10)
  })
})

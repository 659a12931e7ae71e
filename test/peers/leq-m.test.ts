import { execFileSync } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { afterAll, describe, expect, test } from 'vitest'
import { leqM } from '../../src/domain/index.ts'
import { mWeightedEnergies } from '../../src/engine/measure/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { seededRandom } from '../testkit/programmes.ts'
import { noisePlanes, planesOf, sourceOf } from '../testkit/sources.ts'

const kernels = loadKernels(8 * 1024 * 1024)
const folder = mkdtempSync(join(tmpdir(), 'plimsoll-leq-m-'))
afterAll(() => rmSync(folder, { recursive: true }))

const SECONDS = 4
const MUSIC = '/usr/share/games/singularity/music'

/** A track of the Debian package singularity-music, from its 30th second on. */
function musicPlanes(track: string, sampleRateHz: number): Float64Array[] {
  const args = ['-v', 'error', '-ss', '30', '-t', String(SECONDS), '-i', join(MUSIC, `${track}.ogg`)]
  const pcm = execFileSync('ffmpeg', [...args, '-ac', '2', '-ar', String(sampleRateHz), '-f', 'f64le', '-'], {
    maxBuffer: 1 << 27,
  })
  const samples = new Float64Array(pcm.buffer.slice(pcm.byteOffset, pcm.byteOffset + pcm.length))
  return [0, 1].map((side) => samples.filter((_, i) => i % 2 === side))
}

/** 5.1 of music: another track in every part of the room. */
function music51(sampleRateHz: number): Float64Array[] {
  const [fronts, centre, sides] = ['Coherence', 'By-Product', 'Nebula'].map((track) =>
    musicPlanes(track, sampleRateHz),
  ) as Float64Array[][] & { length: 3 }
  const [l, r] = fronts as [Float64Array, Float64Array]
  const [c, lfe] = centre as [Float64Array, Float64Array]
  const [ls, rs] = sides as [Float64Array, Float64Array]
  return [l, r, c, lfe, ls, rs]
}

const noise51 = (sampleRateHz: number) => noisePlanes(6, SECONDS * sampleRateHz, seededRandom(11))

describe('Leq(m) against the spectrum of the whole signal and the network itself (SciPy)', () => {
  const cases = [
    // White noise to half the rate asks most of the fit; music has little up there.
    { material: 'white noise', sampleRateHz: 48000, make: noise51 },
    { material: 'white noise', sampleRateHz: 44100, make: noise51 },
    { material: 'music', sampleRateHz: 48000, make: music51 },
    { material: 'music', sampleRateHz: 96000, make: music51 },
  ]
  test.each(cases)('$material at $sampleRateHz Hz', ({ make, sampleRateHz }) => {
    const source = sourceOf(make(sampleRateHz), '5.1', sampleRateHz)
    const planes = planesOf(source)
    const frameCount = source.frameCount
    const raw = new Float64Array(frameCount * 6)
    for (const [channel, plane] of planes.entries()) {
      for (const [frame, sample] of plane.entries()) raw[frame * 6 + channel] = sample
    }
    const path = join(folder, 'programme.f64')
    writeFileSync(path, new Uint8Array(raw.buffer))
    const oracle = fileURLToPath(new URL('leq-m-oracle.py', import.meta.url))
    const expected = Number(execFileSync('python3', [oracle, path, String(sampleRateHz)], { encoding: 'utf8' }))
    const sums = mWeightedEnergies(kernels, source, { index: 0, firstFrame: 0, frameCount })
    expect(Math.abs((leqM(sums, frameCount, '5.1') as number) - expected)).toBeLessThan(0.02)
  })
})

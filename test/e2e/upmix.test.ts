// Upmix, stems through the weights of a mix, and fold-down, read from outside by NumPy.
import { copyFileSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { fileFolder, ownFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, readWavByFfmpeg, wavShape } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)

beforeAll(() => {
  mixMaster(at('mix.wav'), { musicDb: -18, speechDb: -6, seconds: 28 })
}, PREPARATION_MS)

describe('stems through the weights of the mix', () => {
  test('two stems that make the mix give channels that make the channels of the mix', async () => {
    // Left-only and right-only are stems of every mix: their sum is exact at any word length.
    for (const [name, gains] of [
      ['left', 'c0=c0|c1=0*c1'],
      ['right', 'c0=0*c0|c1=c1'],
    ] as const) {
      ffmpeg('-i', at('mix.wav'), '-af', `pan=stereo|${gains}`, '-c:a', 'pcm_s24le', at(`${name}.wav`))
      const through = ['--through', at(`${name}.wav`), at(`${name}_51.wav`)]
      await plimsollMust(['upmix', at('mix.wav'), at(`mix-${name}_51.wav`), ...through], 0)
    }
    expect(byNumpy('same', at('mix-left_51.wav'), at('mix-right_51.wav'))).toEqual({ differing: 0 })
    const { largest_lsb, loudest } = byNumpy('total', at('mix-left_51.wav'), at('left_51.wav'), at('right_51.wav'))
    expect(loudest).toBeGreaterThan(2 ** 20)
    // Three roundings of half a bit each, in C and, with sqrt(1/2) of C and Ls taken off, in L: at most 3 bits.
    expect(largest_lsb).toBeLessThanOrEqual(3)
  })

  test('the mix through its own weights is its upmix', async () => {
    copyFileSync(at('mix.wav'), at('same.wav'))
    const through = ['--through', at('same.wav'), at('same_51.wav')]
    await plimsollMust(['upmix', at('mix.wav'), at('itself_51.wav'), ...through], 0)
    expect(byNumpy('same', at('itself_51.wav'), at('same_51.wav'))).toEqual({ differing: 0 })
  })
})

describe('rates and word lengths', () => {
  test.each([
    [44100, 'pcm_s24le', 24],
    [48000, 'pcm_s16le', 16],
    [88200, 'pcm_s24le', 24],
    [96000, 'pcm_f32le', 24],
  ] as const)('%i Hz, %s', async (sampleRateHz, codec, bits) => {
    const own = ownFolder()
    const source = mixMaster(join(own, 'in.wav'), {
      sampleRateHz,
      codec,
      musicDb: -18,
      speechDb: -6,
      hiss: 0.05,
      seconds: 6,
    })
    const out = join(own, 'out.wav')
    await plimsollMust(['upmix', source, out, '--bits', String(bits)], 0)
    expect(wavShape(out)).toMatchObject({ channelCount: 6, sampleRateHz, bits, frameCount: 6 * sampleRateHz })
    expect(readWavByFfmpeg(out).layout).toBe('5.1')
    // The fold-down of the upmix is the master: rounded once where the words of the master fit, twice else.
    const folded = join(own, 'folded.wav')
    await plimsollMust(['fold', out, folded, '--to', 'lo-ro', '--bits', String(bits)], 0)
    expect(byNumpy('static', source, folded, 0).largest_lsb).toBeLessThanOrEqual(0.5)
    expect(byNumpy('fold', out, folded)).toMatchObject({ differing: 0, bits })
    expect(byNumpy<{ lags: object }>('lag', source, out).lags).toEqual({ L: 0, R: 0, C: 0, Ls: 0, Rs: 0 })
  })
})

describe('speech that is heard', () => {
  test('is heard alike by one worker and two, and changes the surrounds alone', async () => {
    const paths = ['1', '2'].map((workers) => at(`heard-${workers}_51.wav`)) as [string, string]
    for (const [index, path] of paths.entries()) {
      const run = await plimsollMust(['upmix', at('mix.wav'), path, '--workers', String(index + 1)], 0)
      expect(run.stderr).toContain('listening for speech')
    }
    expect(byNumpy('same', ...paths)).toEqual({ differing: 0 })
    const unheard = await plimsollMust(['upmix', at('mix.wav'), at('unheard_51.wav'), '--no-speech'], 0)
    expect(unheard.stderr).not.toContain('listening')
    expect(byNumpy<{ differing: number }>('same', paths[0], at('unheard_51.wav')).differing).toBeGreaterThan(1000)
    for (const [index, path] of [paths[0], at('unheard_51.wav')].entries()) {
      ffmpeg('-i', path, '-af', 'pan=mono|c0=c2', '-c:a', 'pcm_s24le', at(`centre-${index}.wav`))
    }
    expect(byNumpy('same', at('centre-0.wav'), at('centre-1.wav'))).toEqual({ differing: 0 })
  })

  test('stands in the plan of a delivery, and not where nobody listened', async () => {
    const planOf = async (name: string, ...more: readonly string[]) => {
      await plimsollMust(['deliver', at('mix.wav'), '--spec', 'ebu-r128', '--out', at(name), ...more], 0)
      return JSON.parse(readFileSync(at(`${name}/plan.json`), 'utf8'))
    }
    const { voice } = await planOf('listened')
    // 28 s, and the speech begins at 2 s.
    expect(voice).toMatchObject({ hopSeconds: 0.1, firstPointSeconds: 0.05 })
    expect(voice.sureness).toHaveLength(280)
    expect(Math.max(...voice.sureness.slice(0, 15))).toBe(0)
    expect(Math.max(...voice.sureness)).toBeGreaterThan(200)
    expect(await planOf('unlistened', '--no-speech')).toMatchObject({ voice: null })
  })
})

describe('other containers', () => {
  test('a FLAC gives the bytes of the WAV that it was made from', async () => {
    ffmpeg('-i', at('mix.wav'), '-c:a', 'flac', '-sample_fmt', 's32', '-bits_per_raw_sample', '24', at('mix.flac'))
    await plimsollMust(['upmix', at('mix.flac'), at('flac_51.wav')], 0)
    await plimsollMust(['upmix', at('mix.wav'), at('wav_51.wav')], 0)
    expect(byNumpy('same', at('flac_51.wav'), at('wav_51.wav'))).toEqual({ differing: 0 })
  })
})

test('the fold-down of a delivered 5.1 is its delivered stereo', async () => {
  await plimsollMust(['deliver', at('mix.wav'), '--spec', 'ebu-r128', '--out', at('delivery')], 0)
  await plimsollMust(['fold', at('delivery/mix_51.wav'), at('lo-ro.wav'), '--to', 'lo-ro'], 0)
  expect(byNumpy('same', at('delivery/mix_20.wav'), at('lo-ro.wav'))).toEqual({ differing: 0 })
})

// Masters that are not plain stereo: what upmix and deliver say of them, and what the settings mend.
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, wavShape } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)

// Outside authority: FFmpeg made each master from the one before; NumPy folds the upmix down and compares.
const MADE = {
  inverted: 'pan=stereo|c0=c0|c1=-1*c1',
  late: 'adelay=0S|480S,atrim=end_sample=672000',
  oneSided: 'pan=stereo|c0=c0|c1=0*c0',
  dual: 'pan=stereo|c0=c0|c1=c0',
  mono: 'pan=mono|c0=c0',
} as const

beforeAll(() => {
  mixMaster(at('mix.wav'), { musicDb: -18, speechDb: -6, seconds: 14 })
  for (const [name, filter] of Object.entries(MADE)) {
    ffmpeg('-i', at('mix.wav'), '-af', filter, '-c:a', 'pcm_s24le', at(`${name}.wav`))
  }
}, PREPARATION_MS)

async function upmixed(name: string, ...set: readonly string[]) {
  const words = set.flatMap((each) => ['--set', each])
  const run = await plimsollMust(
    ['upmix', at(`${name}.wav`), at('out.wav'), '--gain', '-6', '--replace', '--json', ...words],
    0,
  )
  return run.json().findings as readonly { readonly id: string; readonly message: string }[]
}
const ids = (findings: readonly { readonly id: string }[]) => findings.map(({ id }) => id)

/** Largest difference of the fold-down of the upmix and a master 6 dB lower, in steps of 24 bit. */
async function foldError(master: string): Promise<number> {
  await plimsollMust(['fold', at('out.wav'), at('folded.wav'), '--to', 'lo-ro'], 0)
  return byNumpy<{ largest_lsb: number }>('static', at(master), at('folded.wav'), -6).largest_lsb
}

describe('what was found is said, with the setting that mends it', () => {
  test('polarity', async () => {
    const findings = await upmixed('inverted')
    expect(ids(findings)).toContain('source-inverted')
    expect(findings.find(({ id }) => id === 'source-inverted')!.message).toContain('polarity=flip-right')
    expect(ids(await upmixed('inverted', 'polarity=flip-right'))).not.toContain('source-inverted')
    // The delivered fold-down is the mended master, which is the one that FFmpeg turned over.
    expect(await foldError('mix.wav')).toBeLessThan(2)
  })

  test('a late track', async () => {
    const findings = await upmixed('late')
    expect(findings.find(({ id }) => id === 'source-offset')!.message).toContain('trackAlignment=align')
    expect(ids(await upmixed('late', 'trackAlignment=align'))).not.toContain('source-offset')
  })

  test('one track only', async () => {
    expect(ids(await upmixed('oneSided'))).toContain('source-one-sided')
    expect(ids(await upmixed('oneSided', 'tracks=left'))).not.toContain('source-one-sided')
  })

  test('the report of a delivery says it too', async () => {
    const out = ['--spec', 'ebu-r128', '--out', at('delivery'), '--json', '--replace']
    const run = await plimsollMust(['deliver', at('inverted.wav'), ...out], 0)
    expect(ids(run.json().findings)).toContain('source-inverted')
  })
})

describe('mono', () => {
  test.each(['mono', 'dual'])('%s goes to the centre, with a little room where that is asked for', async (name) => {
    expect(ids(await upmixed(name))).toContain('source-mono')
    expect(wavShape(at('out.wav'))).toMatchObject({ channelCount: 6, frameCount: 14 * 48000 })
    ffmpeg('-i', at('out.wav'), '-af', 'pan=stereo|c0=c4|c1=c5', '-c:a', 'pcm_s24le', at('back.wav'))
    ffmpeg('-f', 'lavfi', '-i', 'anullsrc=r=48000:cl=stereo:d=14', '-c:a', 'pcm_s24le', at('silent.wav'))
    expect(byNumpy('same', at('back.wav'), at('silent.wav'))).toEqual({ differing: 0 })
    await upmixed(name, 'monoAmbience=1')
    ffmpeg('-i', at('out.wav'), '-af', 'pan=stereo|c0=c4|c1=c5', '-c:a', 'pcm_s24le', at('room.wav'))
    expect(byNumpy<{ differing: number }>('same', at('room.wav'), at('silent.wav')).differing).toBeGreaterThan(48000)
  })
})

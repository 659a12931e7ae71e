// Lt/Rt masters through the built command; the re-encode lock read from outside by NumPy.
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { makeMatrixSet } from '../testkit/matrix-mixes.ts'
import { byNumpy } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SECONDS = 28

// Outside authority: speech in C and music in S, encoded by NumPy and SciPy with a 90-degree filter.
beforeAll(() => {
  makeMatrixSet('tune', folder, SECONDS, ['c-s-music'])
  const track = (index: number) => {
    const skip = `${index * SECONDS * 48000 * 4}`
    return ['-skip_initial_bytes', skip, '-f', 'f32le', '-ar', '48000', '-ac', '1', '-i', at('c-s-music.f32')]
  }
  const join2 = '[0:a][1:a]join=inputs=2:channel_layout=stereo,volume=-6dB'
  ffmpeg(...track(0), ...track(1), '-filter_complex', join2, '-t', `${SECONDS}`, '-c:a', 'pcm_s24le', at('lt-rt.wav'))
  mixMaster(at('stereo.wav'), { musicDb: -18, speechDb: -6, seconds: 12 })
}, PREPARATION_MS)

type Finding = { readonly id: string; readonly message: string }

async function upmixed(name: string, ...set: readonly string[]): Promise<readonly Finding[]> {
  const words = set.flatMap((each) => ['--set', each])
  const run = await plimsollMust(['upmix', at(`${name}.wav`), at('out.wav'), '--replace', '--json', ...words], 0)
  return run.json().findings
}
const ids = (findings: readonly Finding[]) => findings.map(({ id }) => id)
const encode = (master: string) =>
  byNumpy<{ differing: number; levels_dbfs: readonly number[] }>('encode', at('out.wav'), at(master))

describe('upmix', () => {
  test('auto decodes what is found to be Lt/Rt, and its five words encode to it again, every one', async () => {
    const findings = await upmixed('lt-rt')
    expect(ids(findings)).toEqual(expect.arrayContaining(['lt-rt-decoded']))
    expect(ids(findings).some((id) => id === 'source-matrix' || id === 'source-kind-doubtful')).toBe(true)
    const { differing, levels_dbfs } = encode('lt-rt.wav')
    expect(differing).toBe(0)
    const [l, r, c, , ls, rs] = levels_dbfs as [number, number, number, number, number, number]
    // Nothing was encoded left or right.
    expect(Math.max(l, r)).toBeLessThan(Math.min(c, ls, rs) - 12)
  })

  test('the mixer has the last word, and is told where the tracks look otherwise', async () => {
    const findings = await upmixed('lt-rt', 'kind=stereo')
    expect(ids(findings)).not.toContain('lt-rt-decoded')
    expect(ids(findings)).not.toContain('source-kind-doubtful')
    expect(byNumpy('fold', at('out.wav'), at('lt-rt.wav'))).toMatchObject({ differing: 0 })
    expect(ids(await upmixed('stereo'))).not.toContain('lt-rt-decoded')
    expect(ids(await upmixed('stereo', 'kind=lt-rt'))).toEqual(
      expect.arrayContaining(['source-kind-asked', 'lt-rt-decoded']),
    )
    expect(encode('stereo.wav').differing).toBe(0)
  })
})

describe('deliver', () => {
  const deliver = (name: string, ...more: readonly string[]) =>
    ['deliver', at(`${name}.wav`), '--spec', 'ebu-r128', '--out', at('delivery'), '--replace', ...more] as const

  test('an Lt/Rt is refused, with the way round it', async () => {
    for (const args of [deliver('lt-rt'), deliver('stereo', '--set', 'kind=lt-rt')]) {
      const { stderr } = await plimsollMust(args, 2)
      expect(stderr).toContain('JOBS_LT_RT_DELIVERY')
      expect(stderr).toContain('plimsoll upmix')
    }
  })

  test('the 5.1 that was decoded, and a stereo said to be one, are delivered', async () => {
    await upmixed('lt-rt')
    await plimsollMust(deliver('out'), 0)
    await plimsollMust(deliver('lt-rt', '--set', 'kind=stereo'), 0)
  })
})

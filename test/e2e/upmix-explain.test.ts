// A moment of an upmix explained by the built command, held against the file that the same command writes.
import { existsSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsoll, plimsollMust } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const MASTER = at('master.wav')
const SHEET = at('sheet.json')

beforeAll(async () => {
  mixMaster(MASTER, { musicDb: -18, speechDb: -6, seconds: 30 })
  const settings = { centreShare: 0.6, surroundDelayMs: 12, surroundHighCutHz: 7000, frontSpread: 1.2 }
  const sheet = {
    sheetVersion: 1,
    title: { id: 'saltmarsh-lane-103', name: 'Saltmarsh Lane, episode 3' },
    timecode: { rate: '25', start: '10:00:00:00' },
    sources: [{ path: 'master.wav' }],
    upmix: {
      scenes: [{ name: 'harbour', from: '10:00:20:00', to: '10:00:30:00', glideInMs: 2000, glideOutMs: 10, settings }],
    },
  }
  writeFileSync(SHEET, JSON.stringify(sheet))
  await plimsollMust(['upmix', SHEET, at('51.wav'), '--gain', '0'], 0)
}, PREPARATION_MS)

describe('upmix --explain', () => {
  // Outside of the scene, in its glide in, inside it, and across the border of two units of work at 25.6 s.
  test.each(['10:00:08:11', '10:00:19:20', '10:00:22:00', '10:00:25:15'])(
    'at %s the channels have the energy that they have in the file',
    async (label) => {
      const { moment } = (await plimsollMust(['upmix', SHEET, '--explain', label, '--json'], 0)).json()
      const { powers } = byNumpy<{ powers: number[] }>('moment', at('51.wav'), moment.startFrame, moment.endFrame)
      const [left, right, centre, , leftSurround, rightSurround] = powers as [
        number,
        number,
        number,
        number,
        number,
        number,
      ]
      const { L, R, C, Ls, Rs } = moment.total.channelsDbfs
      // 0.02 dB: a 24-bit word and its dither lie more than 70 dB below these levels; the spectra are float32.
      const loudEnough = Object.entries({ L, R, C, Ls, Rs }).filter(([, dbfs]) => dbfs > -70)
      expect(loudEnough.length).toBeGreaterThan(2)
      const powersByName = { L: left, R: right, C: centre, Ls: leftSurround, Rs: rightSurround }
      for (const [name, dbfs] of loudEnough) {
        expect(10 * Math.log10(powersByName[name as keyof typeof powersByName])).toBeCloseTo(dbfs as number, 1)
      }
      const five = left + right + centre + leftSurround + rightSurround
      const { shares } = moment.total
      expect(shares.centre).toBeCloseTo(centre / five, 3)
      expect(shares.fronts).toBeCloseTo((left + right) / five, 3)
      expect(shares.surrounds).toBeCloseTo((leftSurround + rightSurround) / five, 3)
    },
  )

  test('tells the scene and its settings, in words and as JSON, by timecode and in seconds', async () => {
    const text = (await plimsollMust(['upmix', SHEET, '--explain', '10:00:25:00'], 0)).stdout
    expect(text).toContain('at 10:00:25:00')
    expect(text).toContain('scene "harbour": centreShare=0.6')
    const run = await plimsollMust(['upmix', SHEET, '--explain', '25', '--json'], 0)
    expect(run.json().moment).toMatchObject({ frame: 25 * 48000, heard: [{ scene: 'harbour', isScene: true }] })
    expect(existsSync(at('sheet.json.wav'))).toBe(false)
  })

  test('the same with one worker and two', async () => {
    const words = ['upmix', SHEET, '--explain', '10:00:19:20', '--json']
    const [one, two] = await Promise.all(['1', '2'].map((n) => plimsollMust([...words, '--workers', n], 0)))
    expect(one?.stdout).toBe(two?.stdout)
  })

  test('refuses a moment that is not there, an output that it would not write, and an upmix without an output', async () => {
    const refusal = async (...words: string[]) => (await plimsollMust(['upmix', ...words, '--json'], 2)).json().refusal
    expect(await refusal(SHEET, '--explain', '11:00:00:00')).toMatchObject({ code: 'JOBS_MOMENT' })
    expect(await refusal(SHEET, '--explain', 'noon')).toMatchObject({ code: 'JOBS_MOMENT' })
    expect(await refusal(SHEET, at('x.wav'), '--explain', '1')).toMatchObject({ code: 'CLI_UPMIX_OUTPUT' })
    expect(await refusal(SHEET)).toMatchObject({ code: 'CLI_UPMIX_OUTPUT', found: 'no output' })
    expect((await plimsoll(['upmix', SHEET, at('x.wav'), '--explain', '1'])).code).toBe(2)
    expect(existsSync(at('x.wav'))).toBe(false)
  })
})

// kill -9 at any moment: the old delivery or the new one, and the next start takes the leftovers away.
import { spawnSync } from 'node:child_process'
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, utimesSync, writeFileSync } from 'node:fs'
import { hostname } from 'node:os'
import { join } from 'node:path'
import { setTimeout } from 'node:timers/promises'
import { beforeAll, describe, expect, test } from 'vitest'
import {
  deliverySums,
  fileFolder,
  ownFolder,
  PREPARATION_MS,
  plimsoll,
  plimsollMust,
  snapshot,
  startPlimsoll,
} from '../testkit/cli.ts'
import { makeReplacement, type Replacement, replaceWords, settle, withOldDelivery } from '../testkit/cli-deliveries.ts'
import { countingRenames, dyingAtRename } from '../testkit/faulty-disk.ts'
import { sha256 } from '../testkit/outside.ts'
import { seededRandom } from '../testkit/programmes.ts'

const folder = fileFolder()
let made: Replacement

beforeAll(async () => {
  made = await makeReplacement(folder)
}, PREPARATION_MS)

describe('kill -9 of a delivery that replaces another', () => {
  const MOMENTS = 30
  const random = seededRandom(19860411)
  const shares = Array.from({ length: MOMENTS }, (_, moment) => (moment + random()) / MOMENTS)

  test.each(shares)('at %f of the time that it takes', async (share) => {
    const out = withOldDelivery(made)
    const { child, ended } = startPlimsoll(replaceWords(made, out))
    const timer = new AbortController()
    await Promise.race([ended, setTimeout(share * made.runMs, undefined, { signal: timer.signal })])
    timer.abort()
    child.kill('SIGKILL')
    await ended
    await settle(made, out)
  })

  test(
    'at every rename of the commit, before and after it',
    async () => {
      const counted = join(ownFolder(), 'count')
      const trial = withOldDelivery(made)
      await plimsollMust(replaceWords(made, trial), 0, { env: countingRenames(trial, counted) })
      const renames = readFileSync(counted, 'utf8').length
      expect(renames).toBeGreaterThan(6)
      const outcomes: string[] = []
      for (let at = 1; at <= renames; at++) {
        for (const moment of ['before', 'after'] as const) {
          const out = withOldDelivery(made)
          const run = await plimsoll(replaceWords(made, out), { env: dyingAtRename(out, at, moment) })
          expect(run.code).toBe(86)
          outcomes.push(await settle(made, out))
        }
      }
      expect(outcomes.join(' ')).toMatch(/^(?:old )+(?:new ?)+$/)
    },
    PREPARATION_MS,
  )

  test('the next start may be any command that opens the folder', async () => {
    for (const at of [1, 3]) {
      const out = withOldDelivery(made)
      await plimsoll(replaceWords(made, out), { env: dyingAtRename(out, at, 'after') })
      expect(existsSync(join(out, '.plimsoll-work'))).toBe(true)
      // Refused, since a delivery is there; but the folder is in order again.
      const words = replaceWords(made, out).slice(0, -1)
      expect((await plimsoll(words)).code).toBe(2)
      expect(readdirSync(out).filter((name) => name.startsWith('.plimsoll'))).toEqual([])
      expect([made.old, made.new]).toContainEqual(deliverySums(out))
      await plimsollMust(replaceWords(made, out), 0)
      expect(deliverySums(out)).toEqual(made.new)
    }
  })
})

describe('kill -9 of a first delivery', () => {
  test.each([0.3, 0.6, 0.9])('at %f of the time: the folder can be delivered into', async (share) => {
    const out = join(ownFolder(), 'out')
    const { child, ended } = startPlimsoll(replaceWords(made, out))
    await setTimeout(share * made.runMs)
    child.kill('SIGKILL')
    await ended
    await plimsollMust(replaceWords(made, out), 0)
    expect(deliverySums(out)).toEqual(made.new)
  })
})

describe('kill -9 of a fit that writes its difference and draws its picture', () => {
  test(
    'at every rename: the fitted file is the old or the new one, and never has what was made of the other beside it',
    async () => {
      const at = ownFolder()
      const [fitted, difference, picture] = ['fitted.wav', 'difference.wav', 'altered.svg'].map((name) =>
        join(at, name),
      ) as [string, string, string]
      const fitTo = (spec: string) => {
        const words = [
          'fit',
          made.master,
          fitted,
          '--spec',
          spec,
          '--write-difference',
          difference,
          '--picture',
          picture,
          '--replace',
        ]
        return (env: Readonly<Record<string, string>> = {}) => plimsoll(words, { env })
      }
      const sums = () => [fitted, difference, picture].map((path) => (existsSync(path) ? sha256(path) : null))
      const makeNew = fitTo('atsc-a85-short')
      expect((await makeNew()).code).toBe(0)
      const newer = sums()
      const makeOld = fitTo('ebu-r128')
      expect((await makeOld()).code).toBe(0)
      const older = sums()
      expect(older).not.toContain(newer[0])
      expect(older).not.toContain(newer[1])
      expect(older).not.toContain(newer[2])
      const counted = join(ownFolder(), 'count')
      expect((await makeNew(countingRenames(at, counted))).code).toBe(0)
      const renames = readFileSync(counted, 'utf8').length
      expect(renames).toBeGreaterThanOrEqual(3)
      const outcomes = []
      for (let rename = 1; rename <= renames; rename++) {
        for (const moment of ['before', 'after'] as const) {
          expect((await makeOld()).code).toBe(0)
          expect(sums()).toEqual(older)
          expect((await makeNew(dyingAtRename(at, rename, moment))).code).toBe(86)
          const [left, ...beside] = sums()
          outcomes.push(left === newer[0] ? 'new' : left === older[0] ? 'old' : 'neither')
          const own = left === newer[0] ? newer : older
          for (const [index, sum] of beside.entries()) expect([null, own[index + 1]]).toContain(sum)
          expect((await makeNew()).code).toBe(0)
          expect(sums()).toEqual(newer)
          expect(readdirSync(at).sort()).toEqual(['altered.svg', 'difference.wav', 'fitted.wav'])
        }
      }
      expect(outcomes.join(' ')).toMatch(/^(?:old )+(?:new ?)+$/)
    },
    PREPARATION_MS,
  )
})

describe('one writer at a time', () => {
  test('a second delivery into a busy folder is refused, and so is verify; the first one ends well', async () => {
    const out = withOldDelivery(made)
    const first = startPlimsoll(replaceWords(made, out))
    while (!existsSync(join(out, '.plimsoll-work'))) await setTimeout(5)
    first.child.kill('SIGSTOP')
    const second = await plimsoll([...replaceWords(made, out), '--json'])
    expect([second.code, second.json().refusal.code]).toEqual([2, 'JOBS_FOLDER_BUSY'])
    expect(second.json().refusal.found).toContain(String(first.child.pid))
    const verify = await plimsoll(['verify', out, '--spec', 'ebu-r128', '--json'])
    expect([verify.code, verify.json().refusal.code]).toEqual([2, 'JOBS_FOLDER_BUSY'])
    first.child.kill('SIGCONT')
    expect((await first.ended).code).toBe(0)
    expect(await settle(made, out)).toBe('new')
  })

  test('of five that start at once into one folder one delivers, and the others are refused', async () => {
    const out = join(ownFolder(), 'out')
    const runs = await Promise.all([1, 2, 3, 4, 5].map(() => plimsoll(replaceWords(made, out).slice(0, -1))))
    const codes = runs.map(({ code }) => code).sort()
    expect(codes).toEqual([0, 2, 2, 2, 2])
    expect(deliverySums(out)).toEqual(made.new)
  })

  /** The process number of a program that has ended. */
  const deadPid = () => spawnSync('true').pid

  test.each<[string, () => string]>([
    ['of a dead process', () => JSON.stringify({ pid: deadPid(), host: hostname(), born: '1' })],
    [
      'of a process number that another program has now',
      () => JSON.stringify({ pid: process.pid, host: hostname(), born: '1' }),
    ],
    ['that was never signed', () => ''],
    ['that is no lock', () => '{ "pid": '],
  ])('a lock %s is taken over', async (_, signature) => {
    const out = withOldDelivery(made)
    writeFileSync(join(out, '.plimsoll-lock'), signature())
    mkdirSync(join(out, '.plimsoll-work'))
    writeFileSync(join(out, '.plimsoll-work/planes.part'), 'left')
    await plimsollMust(replaceWords(made, out), 0)
    expect(await settle(made, out)).toBe('new')
  })

  test('a lock of another machine stands', async () => {
    const out = withOldDelivery(made)
    writeFileSync(join(out, '.plimsoll-lock'), JSON.stringify({ pid: deadPid(), host: 'another-machine', born: null }))
    const before = snapshot(out)
    const run = await plimsoll([...replaceWords(made, out), '--json'])
    expect([run.code, run.json().refusal.code]).toEqual([2, 'JOBS_FOLDER_BUSY'])
    expect(run.json().refusal.found).toContain('another-machine')
    expect(snapshot(out)).toEqual(before)
  })
})

describe('leftovers outside a delivery folder', () => {
  test('parts and scratch of dead runs go with the next run; those of living ones stay', async () => {
    const place = ownFolder()
    const temporary = ownFolder()
    const [dead, alive] = [spawnSync('true').pid, process.pid]
    for (const pid of [dead, alive]) {
      writeFileSync(join(place, `out.wav.${pid}.part`), 'left')
      mkdirSync(join(temporary, `plimsoll-${hostname()}-${pid}-Abc123`))
      writeFileSync(join(temporary, `plimsoll-${hostname()}-${pid}-Abc123/planes`), 'left')
    }
    writeFileSync(join(place, 'out.wav.99.part.bak'), 'not ours')
    utimesSync(join(place, 'out.wav.99.part.bak'), 0, 0)
    await plimsollMust(['upmix', made.master, join(place, 'out.wav'), '--gain', '-6'], 0, {
      env: { TMPDIR: temporary },
    })
    expect(readdirSync(place).sort()).toEqual(['out.wav', `out.wav.${alive}.part`, 'out.wav.99.part.bak'].sort())
    expect(readdirSync(temporary)).toEqual([`plimsoll-${hostname()}-${alive}-Abc123`])
    rmSync(join(place, 'out.wav'))
  })
})

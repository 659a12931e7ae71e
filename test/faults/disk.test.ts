// Disks that fill up or fail in the middle of the work: a refusal, no half file, the old delivery as it was.
import { statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { refusalDocument } from '../../src/protocol/index.ts'
import {
  fileFolder,
  filesBelow,
  ownFolder,
  PREPARATION_MS,
  plimsoll,
  plimsollMust,
  type Run,
  snapshot,
} from '../testkit/cli.ts'
import { makeReplacement, type Replacement, replaceWords, settle, withOldDelivery } from '../testkit/cli-deliveries.ts'
import { ffmpeg } from '../testkit/cli-programmes.ts'
import { type Fault, faultyDisk } from '../testkit/faulty-disk.ts'
import { sha256 } from '../testkit/outside.ts'

const folder = fileFolder()
let made: Replacement

beforeAll(async () => {
  made = await makeReplacement(folder)
  ffmpeg('-i', made.master, '-c:a', 'flac', join(folder, 'master.flac'))
}, PREPARATION_MS)

function expectRefusal(run: Run, codes: RegExp): void {
  expect(run.code, run.stderr).toBe(2)
  const document = run.json()
  expect(refusalDocument.parse(document)).toEqual(document)
  expect(document.refusal.code).toMatch(codes)
  expect(run.stderr).toContain(document.refusal.remedy)
  expect(run.stderr).not.toMatch(/\n\s+at \S|node:/)
}

const FULL = /^(?:JOBS|MEDIA)_DISK_FULL$/
const FAILED = /^(?:JOBS_DISK_FAILED|MEDIA_WRITE_FAILED|MEDIA_READ_FAILED)$/
const MEGABYTE = 1e6

describe('a disk that fills up under a delivery', () => {
  test('at any point of the work, over an older delivery', async () => {
    const sizeOf = (name: string) => statSync(join(made.newFolder, name)).size
    const planes = 3 * 4 * 6 * 48000
    const audio = planes + sizeOf('master_51.wav') + sizeOf('master_20.wav') + sizeOf('master_difference.wav')
    const [picture, page] = [sizeOf('master_altered.svg'), sizeOf('report.html')]
    const documents = picture + page + sizeOf('report.pdf') + sizeOf('report.json') + sizeOf('manifest.json')
    const points = [
      0,
      20,
      2000,
      planes / 2,
      planes + 100,
      planes + 3 * MEGABYTE,
      audio - 10,
      audio + 5,
      audio + picture + 5,
      audio + picture + page + 5,
      audio + picture + page + sizeOf('report.pdf') - 5,
      audio + documents / 2,
    ]
    for (const [index, after] of [...points, audio + documents].entries()) {
      const out = withOldDelivery(made)
      const before = snapshot(out)
      const fault: Fault = { calls: ['write'], error: index % 2 === 0 ? 'ENOSPC' : 'EDQUOT', after: Math.round(after) }
      expectRefusal(await plimsoll([...replaceWords(made, out), '--json'], { env: faultyDisk(out, fault) }), FULL)
      expect(snapshot(out)).toEqual(before)
    }
  })

  test.each([0, 20, 2000, 6 * MEGABYTE])('after %i bytes, where there was nothing', async (after) => {
    const place = ownFolder()
    const words = replaceWords(made, join(place, 'deep/out'))
    const fault: Fault = { calls: ['write'], error: 'ENOSPC', after }
    expectRefusal(await plimsoll([...words, '--json'], { env: faultyDisk(place, fault) }), FULL)
    expect(snapshot(place)).toEqual([])
  })

  test('when the room for a file is asked for', async () => {
    const out = withOldDelivery(made)
    const before = snapshot(out)
    for (const after of [0, 1, 2]) {
      const fault: Fault = { calls: ['ftruncate'], error: 'ENOSPC', after }
      expectRefusal(await plimsoll([...replaceWords(made, out), '--json'], { env: faultyDisk(out, fault) }), FULL)
      expect(snapshot(out)).toEqual(before)
    }
  })
})

describe('a disk that fails under a delivery', () => {
  test.each<[Fault['calls'][number], number]>([
    ['write', 0],
    ['write', 5 * MEGABYTE],
    ['read', 0],
    ['read', 2 * MEGABYTE],
    ['read', 8 * MEGABYTE],
    ['read', 16 * MEGABYTE],
  ])('%s, after %i bytes', async (call, after) => {
    const out = withOldDelivery(made)
    const before = snapshot(out)
    const env = faultyDisk(out, { calls: [call], error: 'EIO', after })
    expectRefusal(await plimsoll([...replaceWords(made, out), '--json'], { env }), FAILED)
    expect(snapshot(out)).toEqual(before)
  })

  test.each<Fault['calls'][number]>(['fsync', 'rename'])(
    '%s, at every call: the old delivery or the new one',
    async (call) => {
      const outcomes: string[] = []
      for (let after = 0; ; after++) {
        const out = withOldDelivery(made)
        const before = snapshot(out)
        const run = await plimsoll([...replaceWords(made, out), '--json'], {
          env: faultyDisk(out, { calls: [call], error: 'EIO', after }),
        })
        if (run.code === 0) break
        const isBegun = run.json().refusal.code === 'JOBS_COMMIT_UNFINISHED'
        expectRefusal(run, isBegun ? /^JOBS_COMMIT_UNFINISHED$/ : FAILED)
        if (!isBegun) expect(snapshot(out)).toEqual(before)
        outcomes.push(await settle(made, out))
      }
      // First always the old one, from the commit on always the new one; the log beside it is worth no refusal.
      expect(outcomes.join(' ')).toMatch(/^(?:old )+(?:new ?)+$/)
    },
  )

  test('a source that cannot be read to its end is refused and left alone', async () => {
    const before = sha256(made.master)
    const out = ownFolder()
    for (const after of [0, 60, 500_000, 1_700_000]) {
      const env = faultyDisk(made.master, { calls: ['read'], error: 'EIO', after })
      for (const words of [
        ['measure', made.master],
        ['deliver', made.master, '--spec', 'ebu-r128', '--out', join(out, 'folder')],
        ['fit', made.master, join(out, 'fit.wav'), '--spec', 'ebu-r128'],
        ['upmix', made.master, join(out, 'upmix.wav')],
        ['fold', made.master, join(out, 'mono.wav'), '--to', 'mono'],
        ['verify', made.master, '--spec', 'ebu-r128'],
      ]) {
        expectRefusal(await plimsoll([...words, '--json'], { env }), /^MEDIA_READ_FAILED$/)
        expect(snapshot(out)).toEqual([])
      }
    }
    expect(sha256(made.master)).toBe(before)
  })
})

describe('a delivery on a disk that cannot be read to its end', () => {
  test.each([
    [0, /^JOBS_NOT_A_DELIVERY$/],
    [100_000, /^MEDIA_READ_FAILED$/],
    [4 * MEGABYTE, /^MEDIA_READ_FAILED$/],
    [9 * MEGABYTE, /^MEDIA_READ_FAILED$/],
  ])('is not verified: after %i bytes', async (after, codes) => {
    const before = snapshot(made.newFolder)
    const env = faultyDisk(made.newFolder, { calls: ['read'], error: 'EIO', after })
    expectRefusal(await plimsoll(['verify', made.newFolder, '--spec', 'atsc-a85-short', '--json'], { env }), codes)
    expect(snapshot(made.newFolder)).toEqual(before)
  })
})

describe('a disk that fills up under a single file', () => {
  test.each([
    ['fit', (out: string) => ['fit', made.master, out, '--spec', 'ebu-r128']],
    ['upmix', (out: string) => ['upmix', made.master, out, '--gain', '-6']],
    ['fold', (out: string) => ['fold', made.master, out, '--to', 'mono', '--gain', '-6']],
    ['measure --series', (out: string) => ['measure', made.master, '--series', out]],
  ])('%s', async (name, words) => {
    for (const after of [0, 700_000].slice(0, name === 'measure --series' ? 1 : 2)) {
      const place = ownFolder()
      const out = join(place, 'out.wav')
      writeFileSync(out, 'precious')
      const before = snapshot(place)
      const env = faultyDisk(place, { calls: ['write'], error: 'ENOSPC', after })
      expectRefusal(await plimsoll([...words(out), '--replace', '--json'], { env }), FULL)
      expect(snapshot(place)).toEqual(before)
    }
  })

  test('scratch on a full temporary disk, for FLAC and for the planes of an upmix', async () => {
    const place = ownFolder()
    const flac = join(folder, 'master.flac')
    const temporary = ownFolder()
    const env = { TMPDIR: temporary, ...faultyDisk(temporary, { calls: ['write'], error: 'ENOSPC', after: 100_000 }) }
    for (const words of [
      ['measure', flac],
      ['upmix', made.master, join(place, 'out.wav')],
      ['fold', flac, join(place, 'out.wav'), '--to', 'mono'],
    ]) {
      expectRefusal(await plimsoll([...words, '--json'], { env }), FULL)
      expect([...filesBelow(temporary), ...snapshot(place)]).toEqual([])
    }
  })

  test('a temporary folder that is not there', async () => {
    const env = { TMPDIR: join(ownFolder(), 'missing') }
    expectRefusal(
      await plimsoll(['measure', join(folder, 'master.flac'), '--json'], { env }),
      /^JOBS_OUTPUT_NOT_WRITABLE$/,
    )
    // What needs no scratch is not bothered.
    await plimsollMust(['measure', made.master], 0, { env })
  })
})

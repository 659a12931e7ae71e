// What a delivery did beyond the static gain, as a file to be listened to: NumPy computes it again from the delivered
// words and the source, SoX reads it and puts the delivery together again from it.
import { execFileSync } from 'node:child_process'
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { type DeliveryDocument, deliveryDocument, manifestDocument } from '../../src/protocol/index.ts'
import { fileFolder, filesBelow, ownFolder, PREPARATION_MS, plimsoll, plimsollMust } from '../testkit/cli.ts'
import { type Mix, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, readWavByFfmpeg, readWavByLibebur128, sha256, wavShape } from '../testkit/outside.ts'

const folder = fileFolder()

/** Five seconds 14 dB above the rest, under speech that is raised into the ceiling. */
const LEAP: Mix = {
  music: 'Advanced Simulacra',
  musicDb: -14,
  speechDb: 2,
  finish: "volume='if(between(t,14,19),1,0.2)':eval=frame",
}

type Made = {
  readonly out: string
  readonly staticGainDb: number
  readonly difference: string
  readonly alteration: NonNullable<DeliveryDocument['alteration']>
}

let master: string
let upmixed: Made
let fitted: Made

function ownSpec(targetLkfs: number, limits: object = {}): string {
  const path = join(folder, `own${targetLkfs}.json`)
  const programmeLoudness = { targetLkfs, toleranceBelowLu: 1, toleranceAboveLu: 1 }
  const named = { specVersion: 1, id: 'own', title: 'Own', purpose: 'A test.', edition: '1' }
  writeFileSync(path, JSON.stringify({ ...named, programmeLoudness, ...limits }))
  return path
}

/** Fits the 5.1 that a first delivery made, so that a source with six channels is real music and speech. */
let six: string

beforeAll(async () => {
  master = mixMaster(join(folder, 'leap.wav'), LEAP)
  const spec = ownSpec(-23, { maxShortTermLkfs: -18, maxTruePeakDbtp: -7 })
  const out = join(folder, 'upmixed')
  const args = ['deliver', master, '--spec', spec, '--out', out, '--write-difference', '--json']
  const upmix = (await plimsollMust(args, 0)).json()
  const { alteration } = upmix
  const { staticGainDb } = alteration.total
  upmixed = { out, staticGainDb, alteration, difference: join(out, 'leap_difference.wav') }
  expect(upmix.alteration.ride).not.toBeNull()
  expect(upmix.alteration.ceiling.events).toBeGreaterThan(0)
  six = join(folder, 'six.wav')
  await plimsollMust(['upmix', master, six, '--gain', '-6'], 0)
  const fittedPath = join(folder, 'six-fitted.wav')
  const difference = join(folder, 'six-difference.wav')
  const fit = await plimsollMust(
    ['fit', six, fittedPath, '--spec', spec, '--write-difference', difference, '--json'],
    0,
  )
  const told = deliveryDocument.parse(fit.json()).alteration
  fitted = { out: fittedPath, staticGainDb: told.total.staticGainDb, difference, alteration: told }
}, PREPARATION_MS)

describe('the difference is delivered minus source x static gain', () => {
  // Fact: what is written is the float32 nearest to the number that float64 gives, so half of its last bit is all that may
  // be lost; a thousandth more is left for the two ways to the gain.
  test('of a fit, computed again by NumPy: the nearest float', () => {
    const { largest_ulp, frames, channels, peaks } = byNumpy<{
      largest_ulp: number
      frames: number
      channels: number
      peaks: number[]
    }>('difference', fitted.out, six, fitted.staticGainDb, fitted.difference)
    expect(largest_ulp).toBeLessThanOrEqual(0.501)
    expect({ frames, channels }).toEqual({ frames: 30 * 48000, channels: 6 })
    // There is something to be heard: more than a rounding.
    expect(Math.max(...peaks)).toBeGreaterThan(0.01)
  })

  // Six channels of an upmix have no file to be compared with; their fold-down has the master (ITU-R BS.775-4 Table 2).
  test('of an upmix, folded down by NumPy: within two bits of stereo minus master x gain', () => {
    const stereo = join(upmixed.out, 'leap_20.wav')
    const { largest_lsb, loudest } = byNumpy<{ largest_lsb: number; loudest: number }>(
      'folded_difference',
      stereo,
      master,
      upmixed.staticGainDb,
      upmixed.difference,
    )
    expect(largest_lsb).toBeLessThanOrEqual(2)
    expect(loudest).toBeGreaterThan(0.01)
  })

  test('SoX takes it from the delivery, and the source under its gain is left', () => {
    const left = join(folder, 'left.wav')
    const gain = String(10 ** (fitted.staticGainDb / 20))
    const mixed = ['-m', '-v', '1', fitted.out, '-v', '-1', fitted.difference, '-v', `-${gain}`, six]
    execFileSync('sox', ['-D', ...mixed, '-b', '32', '-e', 'float', left], { stdio: 'ignore' })
    const { peaks } = byNumpy<{ peaks: number[] }>('peaks', left)
    // SoX works in 32-bit words: three roundings of 2^-31, and its gain of seven digits.
    expect(Math.max(...peaks)).toBeLessThan(2 ** -20)
  })

  test('FFmpeg reads it as a 5.1 of floats', () => {
    expect(readWavByFfmpeg(upmixed.difference).layout).toBe('5.1')
    expect(wavShape(upmixed.difference)).toMatchObject({ channelCount: 6, bits: 32, frameCount: 30 * 48000 })
  })
})

test('it is listed in the manifest with its role and checksum, and verify accepts the folder', async () => {
  const { files } = manifestDocument.parse(JSON.parse(readFileSync(join(upmixed.out, 'manifest.json'), 'utf8')))
  const listed = files.find(({ role }) => role === 'difference')
  expect(listed).toMatchObject({ path: 'leap_difference.wav', sha256: sha256(upmixed.difference) })
  await plimsollMust(['verify', upmixed.out, '--spec', ownSpec(-23, { maxShortTermLkfs: -18, maxTruePeakDbtp: -7 })], 0)
})

test('one worker and two write the same bytes', async () => {
  const at = ownFolder()
  const sums = []
  for (const workers of ['1', '2']) {
    mkdirSync(join(at, workers))
    const [out, difference] = [join(at, workers, 'six-fitted.wav'), join(at, workers, 'difference.wav')]
    const args = [
      '--spec',
      ownSpec(-23, { maxShortTermLkfs: -18, maxTruePeakDbtp: -7 }),
      '--write-difference',
      difference,
      '--workers',
      workers,
    ]
    await plimsollMust(['fit', six, out, ...args], 0)
    sums.push(sha256(difference))
  }
  expect(sums[0]).toBe(sums[1])
  expect(sums[0]).toBe(sha256(fitted.difference))
})

test('where only the static gain acted, nothing but the rounding is in it', async () => {
  const at = ownFolder()
  const [out, difference] = [join(at, 'fit.wav'), join(at, 'difference.wav')]
  const run = await plimsollMust(
    ['fit', six, out, '--spec', ownSpec(-36), '--write-difference', difference, '--json'],
    0,
  )
  const { alteration } = run.json()
  expect(alteration.ride).toBeNull()
  expect(alteration.ceiling.events).toBe(0)
  const { peaks } = byNumpy<{ peaks: number[] }>('peaks', difference)
  expect(Math.max(...peaks) * 2 ** 23).toBeLessThanOrEqual(0.5 + 2 ** -20)
})

describe('what is refused, and what is not left behind', () => {
  test.each([
    ['the fitted file itself', (at: string) => join(at, 'fit.wav'), 'JOBS_OUTPUT_EXISTS'],
    ['the source', () => six, 'JOBS_OUTPUT_IS_SOURCE'],
  ])('%s as its path', async (_, path, code) => {
    const at = ownFolder()
    const args = ['fit', six, join(at, 'fit.wav'), '--spec', 'ebu-r128', '--write-difference', path(at), '--json']
    const run = await plimsoll(args)
    expect(run.code).toBe(2)
    expect(run.json().refusal.code).toBe(code)
    expect(filesBelow(at)).toEqual([])
  })

  test('a fit that does not conform writes neither file', async () => {
    const at = ownFolder()
    const spec = ownSpec(-2, { maxTruePeakDbtp: -1 })
    const difference = join(at, 'difference.wav')
    const run = await plimsoll(['fit', six, join(at, 'fit.wav'), '--spec', spec, '--write-difference', difference])
    expect(run.code).toBe(1)
    expect(existsSync(difference)).toBe(false)
    expect(filesBelow(at)).toEqual([])
  })
})

test('a fit that is kept although it does not conform leaves both files under names that say so, and what lay there', async () => {
  const at = ownFolder()
  const [out, difference] = [join(at, 'fit.wav'), join(at, 'difference.wav')]
  for (const path of [out, difference]) writeFileSync(path, 'older')
  const spec = ownSpec(-2, { maxTruePeakDbtp: -1 })
  const words = ['fit', six, out, '--spec', spec, '--write-difference', difference, '--keep-nonconforming', '--replace']
  expect((await plimsoll(words)).code).toBe(1)
  const [kept, keptDifference] = ['fit_nonconforming.wav', 'difference_nonconforming.wav']
  expect(filesBelow(at)).toEqual(['difference.wav', keptDifference, 'fit.wav', kept])
  for (const path of [out, difference]) expect(readFileSync(path, 'utf8')).toBe('older')
})

describe('the report of what was altered', () => {
  // The short-term window in the middle of the loud stretch, 15.9 to 18.9 s: the ride holds there, the ceiling is brief.
  test('tells what NumPy finds that each octave lost', () => {
    const { octaves, columnSeconds } = fitted.alteration.overTime ?? {}
    expect(columnSeconds).toBeCloseTo(0.1, 9)
    const { removed } = byNumpy<{ removed: number[] }>('octaves', fitted.out, six, fitted.staticGainDb, 15.9, 18.9)
    for (const [index, { centreHz, removedDb }] of (octaves ?? []).entries()) {
      const told = removedDb.slice(160, 188).flatMap((db) => db ?? [])
      const middle = told.toSorted((a, b) => a - b)[told.length >> 1] as number
      expect(Math.abs(middle - (removed[index] as number)), `${centreHz} Hz`).toBeLessThan(0.3)
      expect(middle).toBeGreaterThan(1)
    }
    expect(octaves).toHaveLength(10)
  })

  // Fact: under a gain alone both curves keep their distance; libebur128 reads the loudest window of each file.
  test('tells the short-term curves of both files, which libebur128 reads as high', () => {
    const { shortTermBeforeLkfs = [], shortTermAfterLkfs = [] } = fitted.alteration.overTime ?? {}
    const highest = (curve: readonly (number | null)[]) => Math.max(...curve.flatMap((level) => level ?? []))
    for (const [path, curve] of [
      [six, shortTermBeforeLkfs],
      [fitted.out, shortTermAfterLkfs],
    ] as const) {
      const { maxShortTermLkfs } = readWavByLibebur128(path, 'full')
      expect(Math.abs(highest(curve) - (maxShortTermLkfs as number))).toBeLessThan(0.1)
    }
  })

  test('names the places that force the ride, and they lie on it', () => {
    const { ride, overTime } = fitted.alteration
    expect(ride?.statement).toMatch(/^No ride inside this corridor moves less/)
    expect(ride?.touching.length).toBeGreaterThan(0)
    for (const { startSeconds, rideDb, line } of ride?.touching ?? []) {
      // The leap lies at 14 to 19 s, and a window of 3 s that touches it reaches as far to both sides.
      expect(startSeconds).toBeGreaterThan(11)
      expect(startSeconds).toBeLessThan(22)
      expect(line).toBe('maxShortTermLkfs')
      const drawn = overTime?.rideDb?.slice(110, 220).flatMap((db) => db ?? []) ?? []
      expect(Math.min(...drawn.map((db) => Math.abs(db - rideDb)))).toBeLessThan(0.01)
    }
  })

  test('tells for how long the ceiling worked, less the deeper', () => {
    const { ceiling } = upmixed.alteration
    expect(ceiling?.secondsBelow01Db).toBeGreaterThan(0)
    expect(ceiling?.secondsBelow01Db).toBeGreaterThanOrEqual(ceiling?.secondsBelow1Db ?? 0)
    expect(ceiling?.secondsBelow1Db).toBeGreaterThanOrEqual(ceiling?.secondsBelow3Db ?? 0)
    expect(ceiling?.secondsBelow3Db).toBeLessThan(30)
  })
})

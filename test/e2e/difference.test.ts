// What a delivery did beyond the static gain, as a file to be listened to: NumPy computes it again from the delivered
// words and the source, SoX reads it and puts the delivery together again from it.
import { execFileSync } from 'node:child_process'
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { manifestDocument } from '../../src/protocol/index.ts'
import { fileFolder, filesBelow, ownFolder, PREPARATION_MS, plimsoll, plimsollMust } from '../testkit/cli.ts'
import { type Mix, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, readWavByFfmpeg, sha256, wavShape } from '../testkit/outside.ts'

const folder = fileFolder()

/** Five seconds 14 dB above the rest, under speech that is raised into the ceiling. */
const LEAP: Mix = {
  music: 'Advanced Simulacra',
  musicDb: -14,
  speechDb: 2,
  finish: "volume='if(between(t,14,19),1,0.2)':eval=frame",
}

type Made = { readonly out: string; readonly staticGainDb: number; readonly difference: string }

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
  const { staticGainDb } = upmix.alteration.total
  upmixed = { out, staticGainDb, difference: join(out, 'leap_difference.wav') }
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
  fitted = { out: fittedPath, staticGainDb: fit.json().alteration.total.staticGainDb, difference }
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

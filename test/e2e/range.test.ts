// A line on the loudness range that the forecast refuses and the rendered file keeps.
import { existsSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsoll, plimsollMust } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { readWavByFfmpeg } from '../testkit/outside.ts'

const SECONDS = 90
const folder = fileFolder()
const master = join(folder, 'master.wav')
const locked = join(folder, 'locked.sheet.json')
let rangeLu = 0

/** A spec of -24 +-2 LKFS that fails a programme whose range is wider. */
function specOf(name: string, maxLoudnessRangeLu: number): string {
  const path = join(folder, `${name}.json`)
  const named = { specVersion: 1, id: name, title: 'Own', purpose: 'A test.', edition: '1' }
  const programmeLoudness = { targetLkfs: -24, toleranceBelowLu: 2, toleranceAboveLu: 2 }
  writeFileSync(path, JSON.stringify({ ...named, programmeLoudness, maxLoudnessRangeLu }))
  return path
}

beforeAll(async () => {
  mixMaster(master, { music: 'Advanced Simulacra', seconds: SECONDS })
  const sources = [{ path: 'master.wav', role: 'programme', layout: '2.0' }]
  const lock = { from: '0:00:00.000', to: `0:01:${SECONDS - 60}.000`, toleranceDb: 0 }
  const title = { id: 'regatta', name: 'Regatta' }
  writeFileSync(locked, JSON.stringify({ sheetVersion: 1, title, sources, fit: { locks: [lock] } }))
  const measured = await plimsollMust(['measure', master, '--no-speech', '--json'], 0)
  rangeLu = measured.json().files[0].loudnessRangeLu
}, PREPARATION_MS)

// The forecast keeps 0.02 LU free below the line, and the lock leaves the ride nothing to do: what it refuses is rendered
// once all the same, and the file decides.
test('a range that the forecast refuses is rendered, and what keeps the line on its bytes is delivered', async () => {
  const out = join(folder, 'kept.wav')
  const spec = specOf('kept', rangeLu + 0.01)
  const run = await plimsollMust(['fit', locked, out, '--spec', spec, '--json'], 0)
  const { conforms, passes, findings, deliverables } = run.json()
  expect(conforms).toBe(true)
  expect(passes).toBe(1)
  expect(findings.map(({ severity }: { severity: string }) => severity)).not.toContain('fail')
  expect(deliverables[0].measurements.loudnessRangeLu).toBeLessThanOrEqual(rangeLu + 0.01)
  // FFmpeg rounds the range to 0.01 LU and takes it from bins of as much.
  expect(Math.abs(readWavByFfmpeg(out).loudnessRangeLu - rangeLu)).toBeLessThan(0.1)
})

test('one that the file does not keep either is told with its places, exit 1, and nothing is delivered', async () => {
  const out = join(folder, 'refused.wav')
  const run = await plimsoll(['fit', locked, out, '--spec', specOf('refused', rangeLu - 0.3), '--json'])
  expect(run.code).toBe(1)
  const failed = run.json().findings.filter(({ severity }: { severity: string }) => severity === 'fail')
  expect(failed.map(({ id }: { id: string }) => id)).toContain('range-out-of-reach')
  expect(existsSync(out)).toBe(false)
})

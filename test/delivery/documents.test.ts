import { execFileSync } from 'node:child_process'
import { createHash } from 'node:crypto'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { checksumLines, manifest, reportJson } from '../../src/engine/deliver/index.ts'
import { deliveryDocument, measureDocument } from '../../src/protocol/index.ts'
import { saltmarshReport } from '../testkit/delivery.ts'

const throughText = (value: unknown) => JSON.parse(JSON.stringify(value)) as unknown

test.each([
  ['a conforming delivery', {}],
  ['a delivery that misses lines', { truePeakDbtp: -1.2, isLockClosed: false, specId: 'ebu-r128-s1' }],
  ['a delivery by a static gain alone', { withRide: false }],
])('report.json of %s is exactly what the published schema describes', (_, wish) => {
  const document = throughText(reportJson(saltmarshReport(wish)))
  expect(deliveryDocument.parse(document)).toEqual(document)
})

test('a field of the document that changes its kind is refused', () => {
  const document = reportJson(saltmarshReport())
  expect(deliveryDocument.safeParse({ ...document, conforms: 'yes' }).success).toBe(false)
  expect(deliveryDocument.safeParse({ ...document, version: 2 }).success).toBe(false)
})

test('the measure document holds the same measurements, flat beside the path', () => {
  const { deliverables, findings, margins } = saltmarshReport()
  const measurements = deliverables[0]?.measurements
  const document = throughText({
    version: 1,
    tool: { name: 'plimsoll', version: '0.1.0' },
    spec: null,
    files: [
      {
        path: 'a.wav',
        ...measurements,
        bitsPerSample: 24,
        spec: null,
        withoutTrims: null,
        conforms: true,
        findings,
        margins,
        segments: [],
        reels: [],
      },
    ],
    season: null,
    refused: [],
  })
  expect(measureDocument.parse(document)).toEqual(document)
})

test('checksum lines are read by sha256sum, and the manifest lists the same files', () => {
  const folder = mkdtempSync(join(tmpdir(), 'plimsoll-'))
  try {
    const bytes = Buffer.from('harbour day')
    writeFileSync(join(folder, 'harbour-day_51.wav'), bytes)
    const sha256 = createHash('sha256').update(bytes).digest('hex')
    const files = [{ path: 'harbour-day_51.wav', role: 'mix-5.1', bytes: bytes.length, sha256 }]
    writeFileSync(join(folder, 'sums'), checksumLines(files))
    expect(execFileSync('sha256sum', ['--check', 'sums'], { cwd: folder, encoding: 'utf8' })).toContain('OK')
    const listed = JSON.parse(manifest(saltmarshReport(), files)) as { files: unknown; title: string }
    expect(listed).toMatchObject({ version: 1, title: 'saltmarsh-lane-103', files })
  } finally {
    rmSync(folder, { recursive: true })
  }
})

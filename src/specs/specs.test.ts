import { describe, expect, test } from 'vitest'
import { findSpec, SPECS } from './index.ts'

/**
 * Columns: target LKFS, tolerance LU, true peak dBTP, short-term LKFS or null.
 * Targets as the publishing bodies summarise them: ATSC A/85:2013, EBU R 128 v5.0 (2023), R 128 s1 (2016),
 * Free TV Australia OP-59. From memory, not read in the document: the peak limits of A/85 and OP-59, the tolerance of
 * OP-59, all numbers of ARIB TR-B32. The last three rows are common practice.
 */
const PUBLISHED = [
  ['atsc-a85', -24, 2, -2, null],
  ['atsc-a85-short', -24, 2, -2, null],
  ['ebu-r128', -23, 0.2, -1, null],
  ['ebu-r128-s1', -23, 0.2, -1, -18],
  ['arib-tr-b32', -24, 1, -1, null],
  ['freetv-op59', -24, 1, -2, null],
  ['full-programme-24', -24, 2, -2, null],
  ['streaming-dialogue', -27, 2, -2, null],
  ['streaming-full-programme', -27, 2, -2, null],
] as const

test.each(PUBLISHED)('%s carries the published numbers', (id, target, tolerance, peak, shortTerm) => {
  const spec = findSpec(id)
  expect(spec?.programmeLoudness).toMatchObject({
    targetLkfs: target,
    toleranceBelowLu: tolerance,
    toleranceAboveLu: tolerance,
  })
  expect(spec?.maxTruePeakDbtp?.value).toBe(peak)
  expect(spec?.maxShortTermLkfs?.value ?? null).toBe(shortTerm)
})

test('every preset stands in the table above, and ids are unique', () => {
  expect(SPECS.map((spec) => spec.id).sort()).toEqual(PUBLISHED.map(([id]) => id as string).sort())
})

test('long-form A/85 (ATSC A/85:2013) and streaming (common practice) are anchored on dialogue, nothing else', () => {
  const anchored = SPECS.filter((spec) => spec.anchor === 'dialogue').map((spec) => spec.id)
  expect(anchored).toEqual(['atsc-a85', 'streaming-dialogue'])
})

test('an unknown id gives null', () => {
  expect(findSpec('atsc-a86')).toBeNull()
})

describe.each(SPECS)('$id', (spec) => {
  test('says for every number where it is from', () => {
    const limits = [spec.maxTruePeakDbtp, spec.maxShortTermLkfs, spec.maxMomentaryLkfs, spec.maxLoudnessRangeLu]
    const sources = [spec.programmeLoudness, ...limits].flatMap((line) => (line ? [line.source] : []))
    expect(sources.length).toBeGreaterThanOrEqual(2)
    for (const source of sources) {
      expect(source.document).not.toBe('')
      expect(source.edition).not.toBe('')
      expect(source.clause).not.toBe('')
      expect(['summary', 'memory', 'common practice']).toContain(source.basis)
    }
  })

  test('says when it applies, and that the recipient decides', () => {
    expect(spec.purpose).toMatch(/^[A-Z].*\.$/)
    expect(spec.notes.join(' ')).toContain("the recipient's current written spec")
  })
})

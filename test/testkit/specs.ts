import type { Clause, DeliverySpec, Limit } from '../../src/domain/index.ts'

const source: Clause = { document: 'test', edition: '1', clause: '-', basis: 'user' }

export function limit(value: number, severity: Limit['severity'] = 'fail'): Limit {
  return { value, severity, source }
}

/** A spec that asks for a total, and for the lines that a test adds. */
export function specOf(targetLkfs: number, toleranceLu: number, lines: Partial<DeliverySpec> = {}): DeliverySpec {
  return {
    id: 'test',
    title: 'Test spec',
    purpose: '-',
    edition: '1',
    anchor: 'programme',
    programmeLoudness: { targetLkfs, toleranceBelowLu: toleranceLu, toleranceAboveLu: toleranceLu, source },
    notes: [],
    ...lines,
  }
}

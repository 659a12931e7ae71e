import type { DeliverableRole, Margin } from './delivery.ts'
import { printedValue } from './figures.ts'
import type { Measurements } from './measurements.ts'
import type { DeliverySpec } from './spec.ts'
import { type SpecLine, specLines } from './spec-lines.ts'

/** How far every line of the spec is inside or outside its limit, by the unrounded values. */
export function margins(measurements: Measurements, spec: DeliverySpec, role: DeliverableRole): readonly Margin[] {
  return specLines(measurements, spec, role).map((line) => {
    const limit = nearerBound(line)
    const margin = line.measured === null ? null : distanceInside(line, line.measured)
    const { field, measured, unit, severity, source } = line
    return { role, line: field, measured, limit, margin, unit, severity, source }
  })
}

/** Positive inside, negative outside, in dB or LU. */
export function distanceInside(line: SpecLine, measured: number): number {
  const below = line.high - measured
  return line.low === null ? below : Math.min(below, measured - line.low)
}

/**
 * A value is inside when it, or the value that is printed of it, is inside: recipients read one decimal.
 * @source docs/decisions/0003-judging.md
 */
export function isInside(line: SpecLine, measured: number): boolean {
  return distanceInside(line, measured) >= 0 || distanceInside(line, printedValue(measured)) >= 0
}

function nearerBound(line: SpecLine): number {
  if (line.low === null || line.measured === null) return line.high
  return line.measured - line.low < line.high - line.measured ? line.low : line.high
}

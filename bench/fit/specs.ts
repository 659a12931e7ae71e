// The specs that the programmes are fitted to: the published ones, and two of a house that asks for more.
import type { DeliverySpec } from '../../src/domain/index.ts'
import { findSpec } from '../../src/specs/index.ts'
import { limit, specOf } from '../../test/testkit/specs.ts'

/** Total -24 +-0.5, short-term -18, momentary -14, true peak -2. */
const WINDOWS = {
  maxShortTermLkfs: limit(-18),
  maxMomentaryLkfs: limit(-14),
  maxTruePeakDbtp: limit(-2),
}

export const HOUSE_WINDOWS: DeliverySpec = {
  ...specOf(-24, 0.5, WINDOWS),
  id: 'house-windows',
  title: 'House, windows',
}
export const HOUSE_RANGE: DeliverySpec = {
  ...specOf(-24, 0.5, { ...WINDOWS, maxLoudnessRangeLu: limit(12) }),
  id: 'house-range',
  title: 'House, windows and range',
}

const published = ['ebu-r128-s1', 'atsc-a85', 'ebu-r128', 'atsc-a85-short', 'freetv-op59'].map((id) => {
  const spec = findSpec(id)
  if (spec === null) throw new Error(`no spec "${id}"`)
  return spec
})

export const FIT_SPECS: readonly DeliverySpec[] = [HOUSE_WINDOWS, HOUSE_RANGE, ...published]

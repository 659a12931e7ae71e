import { execFileSync } from 'node:child_process'
import { expect, test } from 'vitest'
import { defaultSettings, FIT_PARAMETERS } from '../../src/domain/index.ts'
import { chooseGains } from '../../src/engine/decide/index.ts'
import { measuredOf } from '../testkit/programmes.ts'
import { limit, specOf } from '../testkit/specs.ts'

type Readings = { readonly total: number; readonly maxMomentary: number; readonly maxShortTerm: number }

const MUSIC = '/usr/share/games/singularity/music'
const spec = specOf(-24, 0.2, { maxShortTermLkfs: limit(-19), maxMomentaryLkfs: limit(-16) })

function oracle<T>(task: object): T {
  const script = new URL('ride-oracle.py', import.meta.url).pathname
  return JSON.parse(
    execFileSync('/usr/bin/python3', [script], { input: JSON.stringify(task), maxBuffer: 1 << 28 }).toString(),
  )
}

// Oracle: energies by SciPy, the gain applied by NumPy, the result at 24 bit read by libebur128 every 10 ms.
// Material: Debian's singularity-music, with passages raised so that both lines are crossed.
test.each([
  ['Advanced Simulacra.ogg', 30],
  ['Nebula.ogg', 20],
])('%s under the ride meets every line as libebur128 reads it', (name, startSeconds) => {
  const programme = {
    path: `${MUSIC}/${name}`,
    startSeconds,
    seconds: 60,
    louder: [
      [20, 26.5, 9],
      [35.03, 35.5, 16],
      [48, 56, 6],
    ],
  }
  const { energies } = oracle<{ energies: number[] }>(programme)
  const measured = measuredOf(Float64Array.from(energies), null, '2.0')
  const { plan, expected, certificate, feasible } = chooseGains(measured, spec, defaultSettings(FIT_PARAMETERS))
  expect(feasible).toBe(true)
  expect(certificate?.touching.length).toBeGreaterThan(0)
  const readings = oracle<Readings>({
    ...programme,
    staticGainDb: plan.staticGainDb,
    ride: [...(plan.rideDb as Float64Array)],
  })
  expect(Math.abs(readings.total + 24)).toBeLessThan(0.01)
  expect(readings.maxShortTerm).toBeLessThanOrEqual(-19)
  expect(readings.maxMomentary).toBeLessThanOrEqual(-16)
  expect(Math.abs(readings.total - (expected.anchorLkfs as number))).toBeLessThan(0.0005)
  expect(Math.abs(readings.maxShortTerm - (expected.maxShortTermLkfs as number))).toBeLessThan(0.0005)
  expect(Math.abs(readings.maxMomentary - (expected.maxMomentaryLkfs as number))).toBeLessThan(0.0005)
  // The ride takes no more than it must: somewhere a line is nearly touched.
  expect(Math.max(readings.maxShortTerm + 19, readings.maxMomentary + 16)).toBeGreaterThan(-0.02)
})

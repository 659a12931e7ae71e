import { execFileSync } from 'node:child_process'
import { expect, test } from 'vitest'
import { defaultSettings, FIT_PARAMETERS } from '../../src/domain/index.ts'
import { chooseGains } from '../../src/engine/decide/index.ts'
import { measuredOf } from '../testkit/programmes.ts'
import { limit, specOf } from '../testkit/specs.ts'

type Readings = {
  readonly total: number
  readonly range: number
  readonly rangeByFfmpeg: number
  readonly maxMomentary: number
  readonly maxShortTerm: number
}

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

// Oracle: the same, the loudness range read by libebur128 and by FFmpeg's meter (metadata), both after EBU Tech 3342.
// FFmpeg sorts loudness into bins of 0.1 LU.
test('a line on the loudness range is met as libebur128 and FFmpeg read it, beside the other lines', () => {
  const programme = {
    path: `${MUSIC}/Advanced Simulacra.ogg`,
    startSeconds: 20,
    seconds: 180,
    louder: [
      [0, 45, -16],
      [45, 70, 4],
      [95, 130, -14],
      [150, 171, 6],
    ],
  }
  const { energies } = oracle<{ energies: number[] }>(programme)
  const measured = measuredOf(Float64Array.from(energies), null, '2.0')
  const limited = specOf(-24, 0.2, { maxShortTermLkfs: limit(-18), maxLoudnessRangeLu: limit(12) })
  const settings = defaultSettings(FIT_PARAMETERS)
  const unridden = chooseGains(measured, specOf(-24, 0.2), settings)
  const { plan, certificate, feasible, findings } = chooseGains(measured, limited, settings)
  const read = ({ staticGainDb, rideDb }: typeof plan) =>
    oracle<Readings>({ ...programme, staticGainDb, ride: [...(rideDb ?? new Float64Array(1800))] })
  expect(read(unridden.plan).range).toBeGreaterThan(16)
  const readings = read(plan)
  expect(feasible).toBe(true)
  expect(findings.map(({ id }) => id)).toEqual(['range-ridden'])
  expect(readings.range).toBeLessThanOrEqual(12)
  expect(readings.rangeByFfmpeg).toBeLessThanOrEqual(12.1)
  expect(readings.range).toBeGreaterThan(11.5)
  expect(Math.abs(readings.total + 24)).toBeLessThan(0.01)
  expect(readings.maxShortTerm).toBeLessThanOrEqual(-18)
  expect(certificate?.touching.some(({ line }) => line === 'loudnessRangeLu')).toBe(true)
  expect(certificate?.statement).toMatch(/short-term levels from .* to .* LKFS/)
})

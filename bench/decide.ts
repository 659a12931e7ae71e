import { type DeliverySpec, defaultSettings, FIT_PARAMETERS, type Limit } from '../src/domain/index.ts'
import { ceilingCandidates, chooseGains } from '../src/engine/decide/index.ts'
import { dramaEnergies, measuredOf } from '../test/testkit/programmes.ts'

/** How long the decision on a two-hour programme takes, 5.1 and fold-down judged, every window line binding. */
const SECONDS = 7200
const RUNS = 7

const source = { document: 'bench', edition: '-', clause: '-', basis: 'user' } as const
const limit = (value: number): Limit => ({ value, severity: 'fail', source })
const spec: DeliverySpec = {
  id: 'bench',
  title: 'bench',
  purpose: 'All window lines bind.',
  edition: '-',
  anchor: 'programme',
  programmeLoudness: { targetLkfs: -24, toleranceBelowLu: 0.2, toleranceAboveLu: 0.2, source },
  maxTruePeakDbtp: limit(-2),
  maxShortTermLkfs: limit(-18),
  maxMomentaryLkfs: limit(-14),
  notes: [],
}

const programme = dramaEnergies(SECONDS, 1)
const measured = measuredOf(
  programme,
  programme.map((energy, i) => energy * (1.1 + 0.1 * Math.sin(i / 500))),
)
const settings = defaultSettings(FIT_PARAMETERS)
for (const [name, asked] of [
  ['static gain only', { ...spec, maxShortTermLkfs: undefined, maxMomentaryLkfs: undefined }],
  ['ride, both lines on 5.1 and fold-down', spec],
] as const) {
  const times: number[] = []
  let decision = chooseGains(measured, asked as DeliverySpec, settings)
  for (let run = 0; run < RUNS; run++) {
    const start = performance.now()
    decision = chooseGains(measured, asked as DeliverySpec, settings)
    ceilingCandidates(measured, decision.plan)
    times.push(performance.now() - start)
  }
  const { plan, expected, certificate } = decision
  console.log(
    `decide, 2 h, ${name}: median ${times.toSorted((a, b) => a - b)[RUNS >> 1]?.toFixed(0)} ms; static gain ` +
      `${plan.staticGainDb.toFixed(2)} dB, total ${expected.programmeLoudnessLkfs?.toFixed(3)}, max S ` +
      `${expected.maxShortTermLkfs?.toFixed(3)}, max M ${expected.maxMomentaryLkfs?.toFixed(3)}, fold-down S ` +
      `${expected.foldDown?.maxShortTermLkfs?.toFixed(3)}, movement ${certificate?.movementDb.toFixed(1) ?? 0} dB`,
  )
}

// Rebuilds the test mixes, sends every stem through the weights of its mix, and prints what became of it: for the set on
// which the method was tuned, for the same recipe with other contents, and for recorded sound that it never saw; then
// the speed of the upmix. npx tsx bench/upmix/run.ts [--recorded-only]
import { defaultSettings, segmentAt, steadyUpmix, UPMIX_PARAMETERS } from '../../src/domain/index.ts'
import { upmixSegment } from '../../src/engine/render/index.ts'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { sourceOf } from '../../test/testkit/mixes.ts'
import { bassSumDb } from '../../test/testkit/mixes-masters.ts'
import type { JudgedMix } from '../../test/testkit/mixes-metrics.ts'
import { RATE } from '../../test/testkit/mixes-players.ts'
import { makeRecordedStems } from '../../test/testkit/mixes-recorded.ts'
import { makeStems, OTHER_SEED_SET, type StemSet, stemsOf, summed, TUNING_SET } from '../../test/testkit/mixes-stems.ts'
import { CLAIMS, type Judged, judgeSet } from './claims.ts'
import { claimRow, FIGURES, shown, table } from './tables.ts'

const kernels = loadKernels(384 * 1024 * 1024)

function printMixes(title: string, { mixes }: Judged): void {
  const names = Object.keys(FIGURES) as (keyof typeof FIGURES)[]
  const rows = Object.entries(mixes).map(([mix, figures]) => [mix, ...names.map((name) => shown(figures[name]))])
  table(title, ['mix', ...Object.values(FIGURES)], rows)
}

function printBalances(title: string, { mixes }: Judged): void {
  const rows = Object.entries(mixes).flatMap(([mix, { balances }]: [string, JudgedMix]) =>
    Object.entries(balances ?? {}).map(([balance, { cleannessDb, swayDb }]) => [
      mix,
      balance,
      shown(cleannessDb),
      shown(swayDb),
    ]),
  )
  table(title, ['mix', 'balance', 'artefact ratio dB', 'sway dB'], rows)
}

/** What one woofer makes of the bass: by default, with bass kept out of C, and with the LFE on top. */
function printBass(set: StemSet): void {
  const mix = summed(stemsOf(set, 'full'))
  const ways = {
    'LFE off': {},
    'LFE off, centreLowCutHz 200': { centreLowCutHz: 200 },
    'LFE -10 dB': { lfeGainDb: -10 },
    'LFE -10 dB, centreLowCutHz 200': { lfeGainDb: -10, centreLowCutHz: 200 },
  }
  const curves = Object.entries(ways).map(([name, settings]) => ({ name, curve: bassSumDb(kernels, mix, settings) }))
  const hz = curves[0]!.curve.map((band) => String(band.hz))
  table(
    'Bass of the recorded full mix in one woofer against the stereo, dB by third octaves',
    ['settings', ...hz],
    curves.map(({ name, curve }) => [name, ...curve.map((band) => shown(band.db))]),
  )
}

function printHostile({ hostile }: Judged): void {
  table(
    'What is no programme',
    ['input', 'finite', 'energy gain dB', 'fold-down error dBFS'],
    hostile.map((each) => [each.name, each.isFinite ? 'yes' : 'NO', shown(each.energyGainDb), shown(each.lockDbfs)]),
  )
}

function printSpeed(set: StemSet): void {
  const source = sourceOf(summed(stemsOf(set, 'full')), RATE)
  const segment = segmentAt(0, source.frameCount, RATE)
  const seconds = source.frameCount / RATE
  const factors: number[] = []
  for (let round = 0; round < 9; round++) {
    const mark = kernels.arena.mark()
    const before = process.cpuUsage()
    upmixSegment(kernels, source, segment, steadyUpmix(defaultSettings(UPMIX_PARAMETERS)))
    const spent = process.cpuUsage(before)
    factors.push(seconds / ((spent.user + spent.system) / 1e6))
    kernels.arena.release(mark)
  }
  factors.sort((a, b) => a - b)
  const [median, best] = [factors[4]!.toFixed(0), factors[8]!.toFixed(0)]
  console.log(`\nupmix with decoding, ${RATE} Hz: ${median}x real time of processor time (median of 9, best ${best}x)`)
}

const recordedStems = makeRecordedStems()
const recorded = judgeSet(kernels, recordedStems)
const otherRecipes = process.argv.includes('--recorded-only') ? [] : [TUNING_SET, OTHER_SEED_SET]
const others = otherRecipes.map((recipe) => judgeSet(kernels, makeStems(recipe)))
table(
  'With default settings: recorded = never tuned on',
  ['what', 'floor', 'aim', 'recorded', 'floor reached', ...['tuning set', 'other seed'].slice(0, others.length)],
  CLAIMS.map((claim) => claimRow(claim, recorded, others)),
)
printMixes('Recorded set', recorded)
printBalances('Recorded set, the dialogue with the channels pulled apart', recorded)
printBass(recordedStems)
printHostile(recorded)
others.forEach((each, index) => {
  printMixes(index === 0 ? 'Tuning set' : 'Other seed', each)
})
printSpeed(recordedStems)

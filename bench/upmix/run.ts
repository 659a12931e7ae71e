// Rebuilds the test mixes, sends every stem through the weights of its mix, and prints what became of it, for the set on
// which the method was tuned and for one that it never saw; then the speed of the upmix.
// npx tsx bench/upmix/run.ts
import { defaultSettings, segmentAt, steadyUpmix, UPMIX_PARAMETERS } from '../../src/domain/index.ts'
import { upmixSegment } from '../../src/engine/render/index.ts'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { sourceOf } from '../../test/testkit/mixes.ts'
import { clickPreEchoDb, judgeMix, type UpmixFigures } from '../../test/testkit/mixes-metrics.ts'
import { RATE } from '../../test/testkit/mixes-players.ts'
import {
  HELD_OUT_SET,
  MIXES,
  type MixName,
  makeStems,
  type StemSet,
  stemsOf,
  summed,
  TUNING_SET,
} from '../../test/testkit/mixes-stems.ts'
import { FLOORS, isReached } from './floors.ts'

const COLUMNS: Readonly<Record<keyof UpmixFigures, string>> = {
  dialogueInCentrePercent: 'dialogue in C %',
  dialogueCleannessDb: 'clean dB',
  dialogueInSurroundsDb: 'dlg in surr. dB',
  effectsInCentreDb: 'fx in C dB',
  ambienceInSurroundsDb: 'amb. in surr. dB',
  ambienceInCentreDb: 'amb. in C dB',
  surroundAmbientToDirectDb: 'surr. amb/dir dB',
  inputAmbientToDirectDb: 'input amb/dir dB',
  imageErrorMeanDegrees: 'image mean',
  imageErrorMaxDegrees: 'image max',
  preEchoDb: 'pre-echo dB',
  surroundCoherence: 'Ls/Rs coh.',
  unevenness: 'unevenness',
}

const kernels = loadKernels(256 * 1024 * 1024)

function printSet(title: string, set: StemSet): void {
  const names = Object.keys(MIXES) as MixName[]
  const figures = Object.fromEntries(names.map((name) => [name, judgeMix(kernels, set, name)]))
  console.log(`\n${title}`)
  console.log(['mix', ...Object.values(COLUMNS)].join(' | '))
  for (const name of names) {
    const row = (Object.keys(COLUMNS) as (keyof UpmixFigures)[]).map((key) => figures[name]![key]?.toFixed(2) ?? '-')
    console.log([name, ...row].join(' | '))
  }
  for (const floor of FLOORS) {
    const value = figures[floor.mix]![floor.figure]!
    const limit = 'most' in floor.limit ? `<= ${floor.limit.most}` : `>= ${floor.limit.least}`
    const verdict = isReached(floor, value) ? 'reached' : 'MISSED'
    console.log(`${verdict}: ${floor.mix}, ${COLUMNS[floor.figure]} ${value.toFixed(2)} (${limit})`)
  }
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

const tuning = makeStems(TUNING_SET)
printSet('tuning set', tuning)
printSet('held-out set', makeStems(HELD_OUT_SET))
console.log(`\ntwo clicks 3 ms apart: pre-echo ${clickPreEchoDb(kernels).toFixed(1)} dB (floor -30)`)
printSpeed(tuning)

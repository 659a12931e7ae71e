// Suggests scenes for programmes whose borders are known, and for whole pieces of music, and counts what was found.
// npx tsx bench/scenes/run.ts [tuning] [held-out] [--each]
import { parseArgs } from 'node:util'
import { segmentAt, segmentCount, speechLane } from '../../src/domain/index.ts'
import { sketchForScenes } from '../../src/engine/intake/index.ts'
import { alikeStretches, type Sketch } from '../../src/engine/intake/scene-borders.ts'
import { SKETCH_COLUMNS } from '../../src/engine/intake/scene-sketch.ts'
import { listenToSegment } from '../../src/engine/measure/index.ts'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { sourceOf } from '../../test/testkit/sources.ts'
import { speechWeights } from '../../test/testkit/speech-model.ts'
import { POOLS, type Programme, programmesOf, RATE } from './material.ts'

/** A border counts as found within this. */
const NEAR_SECONDS = 0.5
const HOPS_PER_SECOND = 10

const kernels = loadKernels(512 * 1024 * 1024)
const weights = speechWeights()

/** What the suggestion sees of a programme. */
function sketchOf({ planes }: Programme): Sketch {
  const source = sourceOf(
    planes.map((plane) => Float64Array.from(plane)),
    '2.0',
    RATE,
    'int24',
  )
  const segments = Array.from({ length: segmentCount(source.frameCount, RATE) }, (_, index) =>
    segmentAt(index, source.frameCount, RATE),
  )
  const seen = segments.map((segment) => {
    const mark = kernels.arena.mark()
    const heard = listenToSegment(kernels, weights, source, segment)
    const rows = Float32Array.from(sketchForScenes(kernels, source, segment))
    kernels.arena.release(mark)
    return { heard, rows }
  })
  const rows = Float32Array.from(seen.flatMap(({ rows: each }) => [...each]))
  const { probability100ms } = speechLane(seen.map(({ heard }) => heard))
  return { rows, speech: probability100ms, hopCount: rows.length / SKETCH_COLUMNS }
}

/** Joins that were found, and what else was taken for a border inside of the programme. */
function judge(programme: Programme) {
  const sketch = sketchOf(programme)
  const seconds = sketch.hopCount / HOPS_PER_SECOND
  const stretches = alikeStretches(sketch)
  const all = [...new Set(stretches.flatMap(({ from, end }) => [from, end]))].map((hop) => hop / HOPS_PER_SECOND)
  const found = all.filter((at) => at > NEAR_SECONDS && at < seconds - NEAR_SECONDS)
  const isNear = (here: number) => (there: number) => Math.abs(here - there) <= NEAR_SECONDS
  return {
    seconds,
    missed: programme.bordersSeconds.filter((at) => !found.some(isNear(at))),
    others: found.filter((at) => !programme.bordersSeconds.some(isNear(at))),
  }
}

const { values, positionals } = parseArgs({ allowPositionals: true, options: { each: { type: 'boolean' } } })
const names = Object.keys(POOLS) as (keyof typeof POOLS)[]
const chosen = names.filter((name) => positionals.length === 0 || positionals.includes(name))
if (chosen.length === 0) throw new Error(`usage: npx tsx bench/scenes/run.ts [${names.join('] [')}] [--each]`)

console.log('| set | joins found | other borders in joined programmes | borders in whole pieces, an hour |')
console.log('| --- | --- | --- | --- |')
for (const name of chosen) {
  const joined = { joins: 0, missed: 0, others: 0, seconds: 0 }
  const whole = { others: 0, seconds: 0 }
  for (const programme of programmesOf(POOLS[name])) {
    const { missed, others, seconds } = judge(programme)
    const joins = programme.bordersSeconds.length
    const sum = joins > 0 ? joined : whole
    sum.others += others.length
    sum.seconds += seconds
    joined.joins += joins
    joined.missed += missed.length
    const told = (times: readonly number[]) => times.map((at) => at.toFixed(1)).join(' ') || 'none'
    if (values.each) console.error(`${name}, ${programme.name}: missed ${told(missed)}; others ${told(others)}`)
  }
  const found = `${joined.joins - joined.missed} of ${joined.joins}`
  const others = `${joined.others} in ${(joined.seconds / 60).toFixed(0)} minutes`
  const anHour = `${((whole.others / whole.seconds) * 3600).toFixed(1)} (${whole.others} in ${whole.seconds.toFixed(0)} s)`
  console.log(`| ${name} | ${found} | ${others} | ${anHour} |`)
}

import { beforeAll, describe, expect, it } from 'vitest'
import { FLOORS, isReached } from '../../bench/upmix/floors.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { clickPreEchoDb, judgeMix, type UpmixFigures } from '../testkit/mixes-metrics.ts'
import { type MixName, makeStems, type StemSet, TUNING_SET } from '../testkit/mixes-stems.ts'

// Outside authority: where a sound was panned, and what is dialogue, is known because the mixes are made from stems
// (speech by espeak-ng, instruments by fluidsynth). The floors are what a first version of the method reached.
const kernels = loadKernels()
let set: StemSet
const judged = new Map<MixName, UpmixFigures>()

/** The axes that a mixer would send the upmix back for; `npm run bench` prints the others. */
const HELD = FLOORS.filter(({ figure }) => /^(dialogueIn|imageError)/.test(figure))

function figuresOf(mix: MixName): UpmixFigures {
  const known = judged.get(mix) ?? judgeMix(kernels, set, mix)
  judged.set(mix, known)
  return known
}

beforeAll(() => {
  set = makeStems(TUNING_SET)
})

describe('the upmix of mixes whose stems are known', () => {
  it.each(HELD)('$mix: $figure $limit', (floor) => {
    const value = figuresOf(floor.mix)[floor.figure]!
    expect(isReached(floor, value), `${value.toFixed(2)}`).toBe(true)
  })

  it('two clicks 3 ms apart are not announced', () => {
    expect(clickPreEchoDb(kernels)).toBeLessThan(-13)
  })
})

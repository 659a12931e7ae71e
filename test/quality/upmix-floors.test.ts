import { beforeAll, describe, expect, it } from 'vitest'
import { CLAIMS, guardOf, isWithin, type Judged, judgeSet } from '../../bench/upmix/claims.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { makeRecordedStems } from '../testkit/mixes-recorded.ts'

// Outside authority: where a sound was panned, and what is dialogue, is known because the mixes are made from stems:
// recorded voices, effects and atmospheres, and instruments by fluidsynth. Nothing of the upmix was tuned on them.
const kernels = loadKernels(384 * 1024 * 1024)
let judged: Judged

beforeAll(() => {
  judged = judgeSet(kernels, makeRecordedStems(), ['full', 'dialogue + effects', 'dialogue + music', 'applause'])
})

describe('the upmix of recorded mixes whose stems are known', () => {
  it.each(CLAIMS)('$what', (claim) => {
    const value = claim.of(judged)
    expect(isWithin(value, guardOf(claim)), `${value.toFixed(3)}`).toBe(true)
  })
})

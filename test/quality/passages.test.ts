import { beforeAll, describe, expect, test } from 'vitest'
import { describeMeasured, type Passage } from '../../src/domain/index.ts'
import { findPassages } from '../../src/engine/verify/passages/index.ts'
import {
  cleanProgramme,
  type Fault,
  type FaultyProgramme,
  surroundWithFaults,
  withFaults,
} from '../testkit/faulty-programmes.ts'
import { limit, specOf } from '../testkit/specs.ts'

// Outside authority: where a fault was planted is known to the sample. The programmes are real music (other pieces than
// those that thresholds were chosen on) with acted voices over it; they conformed before anything was planted. In the
// 5.1 the voices stand in C, and the speech is what our own detector hears.
const FAULTS: readonly Fault['kind'][] = ['line', 'tone', 'scene', 'bump', 'reel']
const TRACK_SECONDS = [150, 150]
const WITHIN_SECONDS = 0.5

/** A spec that the clean programme meets, as the delivered one did before somebody left a fault in it. */
function specFor({ measured }: FaultyProgramme) {
  const { programmeLoudnessLkfs, maxTruePeakDbtp } = describeMeasured(measured)
  return specOf(programmeLoudnessLkfs!, 0.2, { maxTruePeakDbtp: limit(maxTruePeakDbtp! + 0.5) })
}

function passagesOf(programme: FaultyProgramme, spec: ReturnType<typeof specOf>): readonly Passage[] {
  const { measured, speech, levelSteps } = programme
  const parts = [{ startFrame: 0, measured }]
  return findPassages({ parts, frameCount: measured.frameCount, spec, role: 'mix', speech, levelSteps })
}

const isAt = (fault: Fault) => (passage: Passage) =>
  Math.abs(passage.startFrame - fault.startFrame) <= WITHIN_SECONDS * 48000 &&
  Math.abs(passage.endFrame - fault.endFrame) <= WITHIN_SECONDS * 48000

describe.each([
  ['two-track, the speech known', withFaults, 3, 41],
  ['two-track, the speech known, other tracks', withFaults, 6, 42],
  ['5.1, the speech heard in C', surroundWithFaults, 3, 41],
  ['5.1, the speech heard in C, other tracks', surroundWithFaults, 6, 42],
] as const)('faults planted in real programmes: %s', (_, plant, firstTrack, seed) => {
  let faults: readonly Fault[]
  let found: readonly Passage[]
  let clean: readonly Passage[]

  beforeAll(() => {
    const sound = cleanProgramme('held-out', { firstTrack, trackSeconds: TRACK_SECONDS, seed })
    const before = plant(sound, [], seed)
    const faulty = plant(sound, FAULTS, seed)
    const spec = specFor(before)
    faults = faulty.faults
    found = passagesOf(faulty, spec)
    clean = passagesOf(before, spec)
  })

  test.each(FAULTS)('%s: found within half a second of its in and out', (kind) => {
    const fault = faults.find((planted) => planted.kind === kind)!
    expect(found.filter(isAt(fault)), JSON.stringify({ fault, found })).not.toHaveLength(0)
  })

  test('no more than twice as many passages as faults', () => {
    expect(found.length).toBeLessThanOrEqual(2 * faults.length)
  })

  test('a step is told with its size, and the trim is the opposite', () => {
    const sizes: Partial<Record<Fault['kind'], number>> = { scene: 6, bump: 2, reel: 1.5 }
    for (const fault of faults) {
      const size = sizes[fault.kind]
      const passage = found.find(isAt(fault))
      if (size !== undefined) expect(passage?.suggestedTrimDb).toBeCloseTo(-size, 1)
    }
  })

  test('before anything is planted, little is pointed at: room to the lines, or a line that an actor spoke softly', () => {
    expect(clean.filter(({ kind }) => kind !== 'thinnest-margin').length).toBeLessThan(3)
  })
})

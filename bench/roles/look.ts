import { type SpeechLane, segmentAt, segmentCount, speechLane } from '../../src/domain/index.ts'
import type { Inspected } from '../../src/engine/intake/detector.ts'
import type { RolesEvidence } from '../../src/engine/intake/roles/evidence.ts'
import { rolesDetector } from '../../src/engine/intake/roles/index.ts'
import { readStretch } from '../../src/engine/intake/stretch.ts'
import { listenToSegment } from '../../src/engine/measure/index.ts'
import { programmeOf } from '../../test/testkit/inspected.ts'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { speechWeights } from '../../test/testkit/speech-model.ts'
import type { Planes } from '../../test/testkit/surround-mixes.ts'
import { RATE } from './material.ts'

const C = 2

/** What the detector of roles sees of a 5.1 in memory, with the speech that our own detector hears in C. */
export class Looker {
  readonly kernels = loadKernels()
  readonly #weights = speechWeights()
  /** The same centre is listened to once. */
  readonly #lanes = new WeakMap<Float32Array, SpeechLane>()

  look(planes: Planes): { readonly evidence: readonly RolesEvidence[]; readonly programme: Inspected } {
    const source = programmeOf(planes, '5.1')
    const { frameCount } = source
    const segments = Array.from({ length: segmentCount(frameCount, RATE) }, (_, i) => segmentAt(i, frameCount, RATE))
    const evidence = segments.map((segment) => {
      const mark = this.kernels.arena.mark()
      const seen = rolesDetector.observe(this.kernels, readStretch(this.kernels, source, segment))
      this.kernels.arena.release(mark)
      return seen
    })
    let speech = this.#lanes.get(planes[C]!)
    if (speech === undefined) {
      speech = speechLane(segments.map((segment) => listenToSegment(this.kernels, this.#weights, source, segment)))
      this.#lanes.set(planes[C]!, speech)
    }
    return { evidence, programme: { layout: '5.1', sampleRateHz: RATE, frameCount, speech } }
  }
}

import type { Kernels } from '../../src/dsp/index.ts'
import type { Planes } from '../../test/testkit/surround-mixes.ts'
import type { Material } from './material.ts'
import { type Sounds, WAYS, type Way } from './mixes.ts'
import { PLANTED, type Planted } from './planted.ts'

/** A 5.1 as it was mixed, or with one error planted. */
export type Case = { readonly way: Way; readonly planted: Planted | null; readonly planes: Planes }

const WAYS_EACH = 3
/** Of the errors each is planted in every second excerpt, in one of its mixes. */
const EVERY_ERROR = 2 * WAYS_EACH

/** Excerpts in an order in which neighbours are of different pieces and packages. */
export function* casesOf(kernels: Kernels, material: Material, place: number): Generator<Case> {
  const { excerpts } = material
  const at = (index: number) => (index * STRIDE) % excerpts.length
  const music = material.music(excerpts[at(place)]!)
  const other = material.music(excerpts[at(place + 1)]!)
  const frameCount = Math.min(music[0]!.length, other[0]!.length)
  const cut = (planes: Planes) => planes.map((plane) => plane.subarray(0, frameCount))
  const sounds: Sounds = {
    music: cut(music),
    other: cut(other),
    ambience: material.ambience(place, frameCount),
    voice: material.voice(place, frameCount),
  }
  for (let turn = 0; turn < WAYS_EACH; turn++) {
    const way = WAYS[(place + 3 * turn) % WAYS.length]!
    const planes = way.mix(kernels, sounds)
    yield { way, planted: null, planes }
    for (const [index, planted] of PLANTED.entries()) {
      if ((index + place) % EVERY_ERROR !== 2 * turn || !isErrorIn(way, planted)) continue
      yield { way, planted, planes: planted.plant(planes) }
    }
  }
}

/** Prime to the number of excerpts. */
const STRIDE = 53

/** An upmix holds no LFE, a phantom no centre, and music alone no voice that could be misplaced. */
function isErrorIn(way: Way, planted: Planted): boolean {
  return way.lacks === undefined || !way.lacks.some((role) => planted.moves.includes(role))
}

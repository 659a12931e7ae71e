// Whether the words of a delivered pair fold down to its stereo, whatever the upmix does meanwhile.
import {
  defaultSettings,
  FOLD_DOWN_K,
  type PlaneStore,
  segmentAt,
  UPMIX_PARAMETERS,
  type UpmixPlan,
  type UpmixSettings,
} from '../../src/domain/index.ts'
import type { Kernels } from '../../src/dsp/index.ts'
import { renderSegment, upmixSegment } from '../../src/engine/render/index.ts'
import { type Stereo, sourceOf } from './mixes.ts'
import { RATE } from './mixes-players.ts'

/** Every kind of change that keeps the lock: shares, filters, delay, spread and bass. */
const CHANGES: readonly Partial<UpmixSettings>[] = [
  { centreShare: 0.3, ambienceShare: 0.2 },
  { surroundDelayMs: 12, surroundHighCutHz: 7000 },
  { surroundSpread: 'quadrature', centreReach: 0.25 },
  { centreLowCutHz: 200, surroundBalance: 1, lfeGainDb: -10 },
]
const SCENE_FRAMES = 2 * RATE
const GLIDES_MS = [10, 100, 1000]

/** A plan whose settings change every two seconds, with glides of 10 ms to 1 s. */
function changingPlan(frameCount: number): UpmixPlan {
  const settings = defaultSettings(UPMIX_PARAMETERS)
  const scenes = Array.from({ length: Math.floor(frameCount / SCENE_FRAMES) }, (_, index) => ({
    name: null,
    startFrame: index * SCENE_FRAMES,
    endFrame: (index + 1) * SCENE_FRAMES,
    glideInFrames: (GLIDES_MS[index % GLIDES_MS.length]! * RATE) / 1000,
    glideOutFrames: 0,
    settings: { ...settings, ...CHANGES[index % CHANGES.length] },
  }))
  return { settings, scenes }
}

/**
 * Samples of 24 bit in which the Lo/Ro of the rendered 5.1 is not the rendered stereo, through changes of all settings.
 * At most one segment (25.6 s). @source ITU-R BS.775-4 Table 2
 */
export function foldDownDifferences(kernels: Kernels, mix: Stereo): number {
  const mark = kernels.arena.mark()
  const source = sourceOf(mix, RATE)
  const { frameCount } = source
  const segment = segmentAt(0, frameCount, RATE)
  const { centre, leftSurround, rightSurround, lfe } = upmixSegment(kernels, source, segment, changingPlan(frameCount))
  const planes = [centre, leftSurround, rightSurround, lfe!].map((plane) => plane.slice())
  kernels.arena.release(mark)
  const upmixed: PlaneStore = {
    read: (plane, frame, samples) => samples.set(planes[plane]!.subarray(frame, frame + samples.length)),
    write: () => {
      throw new Error('a render only reads')
    },
  }
  const gain = { staticGainDb: 0, rideDb: null, ceilingDbtp: null }
  const job = {
    source,
    upmixed,
    hasLfe: true,
    frontSpread: 1,
    gain,
    encoding: 'int24',
    stereo: true,
    isLtRt: false,
  } as const
  const rendered = renderSegment(kernels, { ...job, ditherSeed: [1, 2] }, segment)
  const differing = differingSamples(rendered.multichannel, rendered.stereo!)
  kernels.arena.release(mark)
  return differing
}

const WORD_BYTES = 3

function differingSamples(surround: Uint8Array, stereo: Uint8Array): number {
  const [six, two] = [surround, stereo].map(({ buffer, byteOffset, length }) => Buffer.from(buffer, byteOffset, length))
  const word = (of: Buffer, index: number) => of.readIntLE(index * WORD_BYTES, WORD_BYTES)
  let differing = 0
  for (let frame = 0; frame < two!.length / (2 * WORD_BYTES); frame++) {
    const [left, right, centre, , leftSurround, rightSurround] = [0, 1, 2, 3, 4, 5].map((c) =>
      word(six!, 6 * frame + c),
    )
    const lo = left! + FOLD_DOWN_K * (centre! + leftSurround!)
    const ro = right! + FOLD_DOWN_K * (centre! + rightSurround!)
    if (Math.floor(lo + 0.5) !== word(two!, 2 * frame)) differing++
    if (Math.floor(ro + 0.5) !== word(two!, 2 * frame + 1)) differing++
  }
  return differing
}

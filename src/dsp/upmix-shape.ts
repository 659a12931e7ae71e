import {
  assert,
  CENTRE_LOW_CUT_OFF_HZ,
  dbToGain,
  FOLD_DOWN_K,
  LFE_OFF_DB,
  SURROUND_HIGH_CUT_OFF_HZ,
  SURROUND_LOW_CUT_OFF_HZ,
  type UpmixSettings,
} from '../domain/index.ts'
import type { Kernels } from './kernels.ts'
import { filterZeroPhase } from './zero-phase.ts'

const VELVET_MS = 30
const VELVET_TAPS = 30
const VELVET_DECAY_DB = 12
const LEFT_SEED = 1
const RIGHT_SEED = 2

type Taps = { readonly offsets: readonly number[]; readonly gains: readonly number[] }

/**
 * Sparse noise of unit energy: one tap of random sign in every millisecond, falling by 12 dB over 30 ms.
 * @source Alary, Politis, Välimäki: Velvet-noise decorrelator (DAFx 2017); positions and signs by a fixed hash
 */
export function velvetTaps(sampleRateHz: number, seed: number): Taps {
  const cell = (VELVET_MS * sampleRateHz) / 1000 / VELVET_TAPS
  const offsets: number[] = []
  const gains: number[] = []
  let energy = 0
  for (let tap = 0; tap < VELVET_TAPS; tap++) {
    const random = hash(seed * VELVET_TAPS + tap)
    const place = (random >>> 1) / 0x80000000
    const gain = dbToGain((-VELVET_DECAY_DB * tap) / VELVET_TAPS) * ((random & 1) === 0 ? 1 : -1)
    offsets.push(Math.floor((tap + place) * cell))
    gains.push(gain)
    energy += gain * gain
  }
  return { offsets, gains: gains.map((gain) => gain / Math.sqrt(energy)) }
}

function hash(index: number): number {
  let x = Math.imul(index + 1, 0x9e3779b1)
  x = Math.imul(x ^ (x >>> 16), 0x85ebca6b)
  x = Math.imul(x ^ (x >>> 13), 0xc2b2ae35)
  return (x ^ (x >>> 16)) >>> 0
}

/** What a surround passes through in time besides its tone: the delay, and the sparse noise if it is asked for. */
function surroundTaps(settings: UpmixSettings, sampleRateHz: number, seed: number): Taps | null {
  const delay = Math.round((settings.surroundDelayMs * sampleRateHz) / 1000)
  if (settings.surroundSpread === 'velvet') {
    const taps = velvetTaps(sampleRateHz, seed)
    return { offsets: taps.offsets.map((offset) => offset + delay), gains: taps.gains }
  }
  return delay === 0 ? null : { offsets: [delay], gains: [1] }
}

/**
 * Tone, delay and spread of the surround pair, in place: two float32 planes in kernel memory.
 * Restrictions: the first frames after the start of a stretch miss what came before it.
 */
export function shapeSurrounds(
  kernels: Kernels,
  settings: UpmixSettings,
  sampleRateHz: number,
  pair: { readonly left: number; readonly right: number; readonly frameCount: number },
): void {
  const planes = { first: pair.left, second: pair.right, frameCount: pair.frameCount }
  if (settings.surroundLowCutHz > SURROUND_LOW_CUT_OFF_HZ) {
    filterZeroPhase(kernels, planes, { kind: 'high-pass', cornerHz: settings.surroundLowCutHz, sampleRateHz })
  }
  if (settings.surroundHighCutHz < SURROUND_HIGH_CUT_OFF_HZ) {
    filterZeroPhase(kernels, planes, { kind: 'low-pass', cornerHz: settings.surroundHighCutHz, sampleRateHz })
  }
  const sides = [
    { plane: pair.left, seed: LEFT_SEED },
    { plane: pair.right, seed: RIGHT_SEED },
  ]
  for (const { plane, seed } of sides) {
    const taps = surroundTaps(settings, sampleRateHz, seed)
    if (taps !== null) filterSparsely(kernels, plane, pair.frameCount, taps)
  }
}

/** At most the room lies 12 dB under the centre; it comes 15 ms late and is dull, as a room's is. @source ours */
const MONO_AMBIENCE_DB = -12
const MONO_AMBIENCE_DELAY_MS = 15
const MONO_AMBIENCE_HIGH_CUT_HZ = 6000

/** Adds a little room to the surrounds, made from the centre by sparse noise of its own on each side. */
export function addMonoAmbience(
  kernels: Kernels,
  settings: UpmixSettings,
  sampleRateHz: number,
  planes: { readonly centre: number; readonly leftSurround: number; readonly rightSurround: number },
  frameCount: number,
): void {
  if (settings.monoAmbience === 0) return
  const { arena, memory } = kernels
  const mark = arena.mark()
  const floats = (address: number) => new Float32Array(memory.buffer, address, frameCount)
  const gain = settings.monoAmbience * dbToGain(MONO_AMBIENCE_DB)
  const dull = arena.take(frameCount * Float32Array.BYTES_PER_ELEMENT)
  floats(dull).set(floats(planes.centre))
  const both = { first: dull, second: dull, frameCount }
  filterZeroPhase(kernels, both, { kind: 'low-pass', cornerHz: MONO_AMBIENCE_HIGH_CUT_HZ, sampleRateHz })
  if (settings.surroundLowCutHz > SURROUND_LOW_CUT_OFF_HZ) {
    filterZeroPhase(kernels, both, { kind: 'high-pass', cornerHz: settings.surroundLowCutHz, sampleRateHz })
  }
  const delay = Math.round((MONO_AMBIENCE_DELAY_MS * sampleRateHz) / 1000)
  const room = arena.take(frameCount * Float32Array.BYTES_PER_ELEMENT)
  for (const [plane, seed] of [
    [planes.leftSurround, LEFT_SEED],
    [planes.rightSurround, RIGHT_SEED],
  ] as const) {
    const { offsets, gains } = velvetTaps(sampleRateHz, seed)
    floats(room).set(floats(dull))
    filterSparsely(kernels, room, frameCount, { offsets: offsets.map((offset) => offset + delay), gains })
    const [from, to] = [floats(room), floats(plane)]
    for (let n = 0; n < frameCount; n++) to[n] = (to[n] as number) + gain * (from[n] as number)
  }
  arena.release(mark)
}

/** Takes bass off the centre plane, in place; what the fronts keep by subtraction is its complement. */
export function shapeCentre(
  kernels: Kernels,
  settings: UpmixSettings,
  sampleRateHz: number,
  plane: number,
  frameCount: number,
): void {
  if (settings.centreLowCutHz <= CENTRE_LOW_CUT_OFF_HZ) return
  const planes = { first: plane, second: plane, frameCount }
  filterZeroPhase(kernels, planes, { kind: 'high-pass', cornerHz: settings.centreLowCutHz, sampleRateHz })
}

function filterSparsely(kernels: Kernels, plane: number, frameCount: number, taps: Taps): void {
  const { arena, memory, exports } = kernels
  const mark = arena.mark()
  const bytes = frameCount * Float32Array.BYTES_PER_ELEMENT
  const input = arena.take(bytes)
  new Uint8Array(memory.buffer).copyWithin(input, plane, plane + bytes)
  const count = taps.offsets.length
  const offsets = new Int32Array(memory.buffer, arena.take(count * Int32Array.BYTES_PER_ELEMENT), count)
  offsets.set(taps.offsets)
  const gains = new Float32Array(memory.buffer, arena.take(count * Float32Array.BYTES_PER_ELEMENT), count)
  gains.set(taps.gains)
  exports.upmixSparseFilter(input, plane, frameCount, offsets.byteOffset, gains.byteOffset, count)
  arena.release(mark)
}

/** Whether these settings feed the LFE. */
export function feedsLfe(settings: UpmixSettings): boolean {
  return settings.lfeGainDb > LFE_OFF_DB
}

/** Writes the LFE of two float64 tracks into a float32 plane: gain times the low-passed k (l + r). */
export function writeLfe(
  kernels: Kernels,
  settings: UpmixSettings,
  sampleRateHz: number,
  tracks: { readonly left: number; readonly right: number; readonly frameCount: number },
  out: number,
): void {
  assert(feedsLfe(settings), 'the LFE is off')
  const { left, right, frameCount } = tracks
  kernels.exports.upmixMonoSum(left, right, out, frameCount, FOLD_DOWN_K * dbToGain(settings.lfeGainDb))
  filterZeroPhase(
    kernels,
    { first: out, second: out, frameCount },
    { kind: 'low-pass', cornerHz: settings.lfeCornerHz, sampleRateHz },
  )
}

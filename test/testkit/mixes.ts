import {
  type AudioSource,
  decodesMatrix,
  defaultSettings,
  UPMIX_PARAMETERS,
  type UpmixSettings,
} from '../../src/domain/index.ts'
import { extract, type Tracks, writeFronts, writeMatrixFronts } from '../../src/dsp/index.ts'
import type { ReadTracks } from '../../src/dsp/upmix-source.ts'
import { loadKernels } from './kernels.ts'

export type Stereo = { readonly left: Float64Array; readonly right: Float64Array }

const DEFAULTS = defaultSettings(UPMIX_PARAMETERS)
const kernels = loadKernels(64 * 1024 * 1024)

/** Deterministic noise in -1 .. 1. */
export function noise(seed: number): () => number {
  let state = seed
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) | 0
    return state / 0x80000000
  }
}

export function stereo(frameCount: number, at: (frame: number) => readonly [number, number]): Stereo {
  const left = new Float64Array(frameCount)
  const right = new Float64Array(frameCount)
  for (let i = 0; i < frameCount; i++) [left[i], right[i]] = at(i) as [number, number]
  return { left, right }
}

/** A phantom centre with syllables, hard-panned bursts, a half-panned tone, a bed of noise, and a silent stretch. */
export function programme(frameCount: number, rate: number): Stereo {
  const [speech, burst, bedLeft, bedRight] = [noise(1), noise(2), noise(3), noise(4)]
  return stereo(frameCount, (i) => {
    const t = i / rate
    if (t > 0.38 && t < 0.43) return [0, 0]
    const voice = 0.3 * speech() * Math.max(0, Math.sin(2 * Math.PI * 5 * t))
    const hit = t % 0.2 < 0.03 ? 0.5 * burst() : 0
    const tone = 0.1 * Math.sin(2 * Math.PI * 440 * t)
    const bed = t > 0.45 ? 1e-4 : 0.03
    return [voice + tone + (t % 0.4 < 0.2 ? hit : 0) + bed * bedLeft(), voice + 0.3 * tone + bed * bedRight()]
  })
}

function place(tracks: Stereo): Tracks {
  const take = (track: Float64Array) => {
    const plane = new Float64Array(kernels.memory.buffer, kernels.arena.take(track.length * 8), track.length)
    plane.set(track)
    return plane
  }
  return { left: take(tracks.left), right: take(tracks.right) }
}

export function upmix(
  tracks: Stereo,
  settings: Partial<UpmixSettings> = {},
  sampleRateHz = 48000,
  carried?: Stereo,
  reading?: ReadTracks,
) {
  const mark = kernels.arena.mark()
  const placed = place(tracks)
  const stem = carried && place(carried)
  const all = { ...DEFAULTS, ...settings }
  const known = { ...(stem && { carried: stem }), ...(reading && { reading }) }
  const out = extract(kernels, { sampleRateHz, settings: all, tracks: placed, ...known })
  const fronts = place({ left: new Float64Array(tracks.left.length), right: new Float64Array(tracks.left.length) })
  if (decodesMatrix(all, undefined)) writeMatrixFronts(kernels, stem ?? placed, out, fronts)
  else writeFronts(kernels, stem ?? placed, out, all.frontSpread, fronts)
  const result = {
    left: fronts.left.slice(),
    right: fronts.right.slice(),
    centre: out.centre.slice(),
    leftSurround: out.leftSurround.slice(),
    rightSurround: out.rightSurround.slice(),
    lfe: out.lfe?.slice() ?? null,
  }
  kernels.arena.release(mark)
  return result
}

type Samples = Float32Array | Float64Array

export function levelDb(x: Samples, from = 0, to = x.length): number {
  let sum = 0
  for (let i = from; i < to; i++) sum += (x[i] as number) ** 2
  return 10 * Math.log10(sum / (to - from))
}

export function differenceDb(a: Samples, b: Samples): number {
  let worst = 0
  for (let i = 0; i < a.length; i++) worst = Math.max(worst, Math.abs((a[i] as number) - (b[i] as number)))
  return 20 * Math.log10(worst)
}

/** A two-track programme held in memory, as float64 PCM. */
export function sourceOf(tracks: Stereo, sampleRateHz: number): AudioSource {
  const frameCount = tracks.left.length
  const pcm = new Float64Array(2 * frameCount)
  for (let i = 0; i < frameCount; i++) {
    pcm[2 * i] = tracks.left[i] as number
    pcm[2 * i + 1] = tracks.right[i] as number
  }
  const bytes = new Uint8Array(pcm.buffer)
  return {
    format: { encoding: 'float64', channelCount: 2, sampleRateHz },
    layout: '2.0',
    frameCount,
    readInto: (into, frameIndex, count) => into.set(bytes.subarray(frameIndex * 16, (frameIndex + count) * 16)),
  }
}

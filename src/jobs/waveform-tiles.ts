import { WAVEFORM_TILE_POINTS, type Waveform, waveformSteps, waveformTile } from '../domain/index.ts'
import { type Kernels, kernelMemoryBytes } from '../dsp/index.ts'
import { waveformOfStretch } from '../engine/index.ts'
import { openAudio } from '../media/index.ts'
import { compileKernels, instantiateKernels } from './kernels.ts'
import type { StudiedTitle } from './study-title.ts'

/** Where the samples of a title lie, and how they look. */
export type DrawnTitle = { readonly location: StudiedTitle['location']; readonly waveform: Waveform }

/** One tile of a level, 16 bits little-endian; empty where there is no such level or nothing of the programme in it. */
export function tileBytes({ location, waveform }: DrawnTitle, level: number, tile: number): Uint8Array<ArrayBuffer> {
  const kept = waveform.levels[level - 1]
  const points = level === 0 ? finestTile(location, tile) : kept === undefined ? [] : waveformTile(kept, tile)
  const bytes = new DataView(new ArrayBuffer(2 * points.length))
  for (const [index, value] of points.entries()) bytes.setInt16(2 * index, value, true)
  return new Uint8Array(bytes.buffer)
}

/** Of the finest level nothing is kept: it is read from the file. */
function finestTile(location: DrawnTitle['location'], tile: number): Int16Array {
  const [pointFrames] = waveformSteps(location.format.sampleRateHz) as readonly [number]
  const firstFrame = tile * WAVEFORM_TILE_POINTS * pointFrames
  const frameCount = Math.min(WAVEFORM_TILE_POINTS * pointFrames, location.frameCount - firstFrame)
  if (frameCount <= 0) return new Int16Array(0)
  const audio = openAudio(location)
  try {
    return waveformTile(waveformOfStretch(drawingKernels(), audio, { firstFrame, frameCount }, pointFrames), 0)
  } finally {
    audio.close()
  }
}

/** Of this thread, made when they are first needed; of their memory only what is touched is taken. */
function drawingKernels(): Kernels {
  kernels ??= instantiateKernels(compileKernels().module, kernelMemoryBytes(LOWEST_RATE_HZ))
  return kernels
}

const LOWEST_RATE_HZ = 48_000
let kernels: Kernels | null = null

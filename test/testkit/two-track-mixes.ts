// Two-track masters whose making is known, made by NumPy and SciPy; and the walk over their segments.
import { execFileSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import type { TwoTrackKind, TwoTrackReport } from '../../src/domain/index.ts'
import type { Kernels } from '../../src/dsp/index.ts'
import { STRETCH_MARGIN_SECONDS } from '../../src/engine/intake/detector.ts'
import { twoTrackDetector } from '../../src/engine/intake/two-track/index.ts'
import { inKernelMemory } from './kernels.ts'

export type KnownMaster = {
  readonly kind: TwoTrackKind | 'mixed'
  readonly file: string
  readonly side?: 'left' | 'right'
  readonly inverted?: boolean
  readonly lag?: number
  readonly stretches?: readonly (readonly [TwoTrackKind, number, number])[]
  /** Least and most delay of the right track in microseconds. */
  readonly azimuth?: readonly [number, number]
  readonly rate?: string
  readonly first?: string
  readonly firstFrame?: number
}

export type Tracks = { readonly left: Float32Array; readonly right: Float32Array }

export const MIX_RATE = 48000
const SEGMENT_SECONDS = 25.6

/** Makes a set (`tune`, `held`) and hands every master over, one at a time. */
export function forEachMaster(set: string, look: (name: string, known: KnownMaster, tracks: Tracks) => void): void {
  const folder = mkdtempSync(join(tmpdir(), 'two-track-'))
  try {
    const script = fileURLToPath(new URL('../quality/two-track-mixes.py', import.meta.url))
    execFileSync('/usr/bin/python3', [script, set, folder])
    const cases = JSON.parse(readFileSync(join(folder, 'cases.json'), 'utf8')) as Record<string, KnownMaster>
    for (const [name, known] of Object.entries(cases))
      look(name, known, tracksOf(readFileSync(join(folder, known.file))))
  } finally {
    rmSync(folder, { recursive: true })
  }
}

/** Parts interleaved float32. */
export function tracksOf(bytes: Buffer): Tracks {
  const frameCount = bytes.length >> 3
  const both = new Float32Array(bytes.buffer, bytes.byteOffset, 2 * frameCount)
  return {
    left: Float32Array.from({ length: frameCount }, (_, frame) => both[2 * frame]!),
    right: Float32Array.from({ length: frameCount }, (_, frame) => both[2 * frame + 1]!),
  }
}

/** Looks at two tracks segment by segment, as a programme is looked at. */
export function inspectTracks(kernels: Kernels, { left, right }: Tracks, sampleRateHz = MIX_RATE): TwoTrackReport {
  const frameCount = left.length
  const margin = STRETCH_MARGIN_SECONDS * sampleRateHz
  const segment = SEGMENT_SECONDS * sampleRateHz
  const evidence = Array.from({ length: Math.ceil(frameCount / segment) }, (_, index) => {
    const firstFrame = index * segment
    const count = Math.min(segment, frameCount - firstFrame)
    const leadFrames = Math.min(firstFrame, margin)
    const tailFrames = Math.min(margin, frameCount - firstFrame - count)
    const mark = kernels.arena.mark()
    const cut = (track: Float32Array) =>
      inKernelMemory(kernels, track.subarray(firstFrame - leadFrames, firstFrame + count + tailFrames))
    const seen = twoTrackDetector.observe(kernels, {
      layout: '2.0',
      sampleRateHz,
      programmeFrameCount: frameCount,
      firstFrame,
      frameCount: count,
      leadFrames,
      tailFrames,
      planes: [cut(left), cut(right)],
      words: { format: { encoding: 'float32', channelCount: 2, sampleRateHz }, bytes: new Uint8Array(0) },
    })
    kernels.arena.release(mark)
    // Evidence travels between threads.
    return structuredClone(seen)
  })
  return twoTrackDetector.conclude(evidence, { layout: '2.0', sampleRateHz, frameCount, speech: null })
}

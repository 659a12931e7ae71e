import {
  assert,
  type Cancellation,
  decodesMatrix,
  SURROUND_LOW_CUT_OFF_HZ,
  type UpmixSettings,
} from '../domain/index.ts'
import type { Kernels } from './kernels.ts'
import { decodeMatrix } from './matrix.ts'
import { upmixGeometry } from './upmix-geometry.ts'
import { UpmixPass } from './upmix-pass.ts'
import { addMonoAmbience, feedsLfe, shapeCentre, shapeSurrounds, writeLfe } from './upmix-shape.ts'
import { type ReadTracks, SourceSpectra } from './upmix-source.ts'
import { MatrixWatcher, type UpmixWatch, UpmixWatcher } from './upmix-watch.ts'

/** Two tracks of a stretch as float64 planes in kernel memory, of one length, full scale = 1. */
export type Tracks = { readonly left: Float64Array; readonly right: Float64Array }

/** What the upmix takes out of the two tracks: float32 planes in kernel memory, of the length of the tracks. */
export type Extracted = {
  readonly centre: Float32Array
  readonly leftSurround: Float32Array
  readonly rightSurround: Float32Array
  /** Null where the settings feed no LFE. */
  readonly lfe: Float32Array | null
}

/**
 * Takes centre, surrounds and LFE out of two tracks, aligned to the sample.
 * Lt/Rt is decoded instead, where the settings say so or leave it to the reading: see `decodeMatrix`.
 * The stretch is seen as a programme of its own: silence before and after. Weights reach 0.31 s to both sides (0.46 s at
 * 32 kHz); the surround's tone, delay and spread and the LFE's filter reach up to 0.25 s further.
 * Where `carried` is given, it goes through the weights that `tracks` give, and the result is what becomes of it.
 * The result lies in kernel memory taken here, and holds until the caller releases it. Float until the ceiling: the
 * centre of a full-scale dual mono peaks at +3.01 dBFS.
 * Cost: two and a half complex transforms a hop; 12 or 16 bytes a frame stay, 1.5 MB of rings at 48 kHz (6 MB at
 * 192 kHz) and at most one plane are given back. Throws `Cancelled`.
 * @source docs/decisions: three-source non-negative fit with noise floor and minimum-mean-square weights, ours;
 *   ERB after Glasberg and Moore (1990); the centre's k from ITU-R BS.775-4 Table 2
 */
export function extract(
  kernels: Kernels,
  request: {
    readonly sampleRateHz: number
    readonly settings: UpmixSettings
    readonly tracks: Tracks
    readonly carried?: Tracks
    /** What the tracks were found to be; absent: aligned, and without noise. */
    readonly reading?: ReadTracks
    /** Where the stretch begins in the programme that was read. */
    readonly firstFrame?: number
    /** Asks what is seen at a frame of the stretch. */
    readonly watch?: UpmixWatch
    readonly cancellation?: Cancellation
  },
): Extracted {
  const { arena, memory } = kernels
  const { settings, sampleRateHz } = request
  const frameCount = request.tracks.left.length
  const tracks = addressesOf(kernels, request.tracks, frameCount)
  const carried = request.carried === undefined ? null : addressesOf(kernels, request.carried, frameCount)
  const takePlane = () =>
    new Float32Array(memory.buffer, arena.take(frameCount * Float32Array.BYTES_PER_ELEMENT), frameCount)
  const centre = takePlane().fill(0)
  const leftSurround = takePlane().fill(0)
  const rightSurround = takePlane().fill(0)
  const lfe = feedsLfe(settings) ? takePlane() : null

  const mark = arena.mark()
  const planes = {
    centre: centre.byteOffset,
    leftSurround: leftSurround.byteOffset,
    rightSurround: rightSurround.byteOffset,
  }
  const { reading, watch, cancellation } = request
  const isLtRt = decodesMatrix(settings, reading)
  if (isLtRt) {
    const watcher = watch === undefined ? null : new MatrixWatcher(kernels, sampleRateHz, watch.frame)
    decodeMatrix(kernels, sampleRateHz, settings, { tracks, carried, frameCount, planes, watcher }, cancellation)
    if (watcher !== null) watch?.seen(watcher.moment())
  } else {
    const geometry = upmixGeometry(sampleRateHz)
    const source = reading === undefined ? null : new SourceSpectra(kernels, geometry, reading, request.firstFrame ?? 0)
    const watcher = watch === undefined ? null : new UpmixWatcher(kernels, geometry, watch.frame)
    const stretch = { tracks, carried, frameCount, planes, source, watcher }
    new UpmixPass(kernels, geometry, settings, stretch).run(cancellation)
    if (watcher !== null) watch?.seen(watcher.moment())
  }
  arena.release(mark)
  shapeCentre(kernels, settings, sampleRateHz, planes.centre, frameCount)
  shapeSurrounds(kernels, isLtRt ? inPhase(settings) : settings, sampleRateHz, {
    left: planes.leftSurround,
    right: planes.rightSurround,
    frameCount,
  })
  if (reading?.found === 'dual-mono') addMonoAmbience(kernels, settings, sampleRateHz, planes, frameCount)
  if (lfe !== null) writeLfe(kernels, settings, sampleRateHz, { ...(carried ?? tracks), frameCount }, lfe.byteOffset)
  return { centre, leftSurround, rightSurround, lfe }
}

/**
 * Without what would leave the surround of an Lt/Rt in its fronts: they are what the law leaves, so a delayed, spread or
 * thinned surround stands against itself there.
 */
function inPhase(settings: UpmixSettings): UpmixSettings {
  return { ...settings, surroundLowCutHz: SURROUND_LOW_CUT_OFF_HZ, surroundDelayMs: 0, surroundSpread: 'none' }
}

function addressesOf(
  kernels: Kernels,
  tracks: Tracks,
  frameCount: number,
): { readonly left: number; readonly right: number } {
  for (const track of [tracks.left, tracks.right]) {
    assert(track.buffer === kernels.memory.buffer, 'the tracks must lie in the memory of the kernels')
    assert(track.length === frameCount, `all tracks must have ${frameCount} frames`)
  }
  return { left: tracks.left.byteOffset, right: tracks.right.byteOffset }
}

/**
 * Writes what remains in the fronts: l - k c - k ls and r - k c - k rs in float64, into `out` (it may be the tracks).
 * With `spread` 1 the Lo/Ro fold-down of the five is the two tracks again; else the difference of the two is multiplied,
 * by one number or by one for each frame.
 * All planes lie in kernel memory and have one length.
 * @source ITU-R BS.775-4 Table 2 (k)
 */
export function writeFronts(
  kernels: Kernels,
  tracks: Tracks,
  extracted: Pick<Extracted, 'centre' | 'leftSurround' | 'rightSurround'>,
  spread: number | Float64Array,
  out: Tracks,
): void {
  const planes = [tracks.left, tracks.right, extracted.centre, extracted.leftSurround, extracted.rightSurround]
  const frameCount = out.left.length
  for (const plane of [...planes, out.right]) {
    assert(plane.buffer === kernels.memory.buffer, 'the planes must lie in the memory of the kernels')
    assert(plane.length === frameCount, `all planes must have ${frameCount} frames`)
  }
  kernels.exports.upmixFronts(
    tracks.left.byteOffset,
    tracks.right.byteOffset,
    extracted.centre.byteOffset,
    extracted.leftSurround.byteOffset,
    extracted.rightSurround.byteOffset,
    out.left.byteOffset,
    out.right.byteOffset,
    frameCount,
    typeof spread === 'number' ? spread : 1,
  )
  if (typeof spread === 'number') return
  for (let i = 0; i < frameCount; i++) {
    const [left, right] = [out.left[i] as number, out.right[i] as number]
    const added = (((spread[i] as number) - 1) / 2) * (left - right)
    out.left[i] = left + added
    out.right[i] = right - added
  }
}

import { dbToGain } from '../domain/index.ts'
import { annex2Interpolator, hannInterpolator, type Interpolator, sincInterpolator } from './ceiling-interpolators.ts'
import { bytesPerPlaneSample, type Plane } from './decode.ts'
import type { Kernels } from './kernels.ts'

export interface CeilingExports {
  readonly gainsOfLine: (gains: number, common: number, ceiling: number, count: number) => void
  readonly gainedLine: (line: number, plane: number, isWide: number, gains: number, count: number) => number
  readonly mixLine: (mix: number, line: number, weight: number, count: number, adds: number) => number
  readonly blockBounds: (line: number, blockCount: number, peaks: number, bends: number) => void
  readonly samplePeaksOfBlock: (line: number, at: number) => void
  readonly interpolateBlock: (line: number, between: number, table: number, couples: number, taps: number) => void
  readonly requiredGains: (at: number, between: number, above: number, aim: number, required: number) => number
  readonly shapeGain: (
    required: number,
    blockMinima: number,
    blockCount: number,
    frameCount: number,
    gain: number,
    touched: number,
    reach: number,
    hold: number,
    rise: number,
    box1: number,
    box2: number,
    box3: number,
    queue: number,
    rings: number,
  ) => number
}

/** A signal that the ceiling guards: a weighted sum of planes. */
export type LinkedSignal = readonly { readonly plane: Plane; readonly weight: number }[]

/** A stretch of signals that share one gain, as buffers in kernel memory. */
export type CeilingStretch = {
  readonly signals: readonly LinkedSignal[]
  readonly frameCount: number
  readonly sampleRateHz: number
  /** Address of the gain that the signals receive before the ceiling (float64, linear). */
  readonly commonGain: number
  /** Address of the ceiling's own gain (float64, linear): unity or its planned slow part on entry, lower on return. */
  readonly ceilingGain: number
  /** Linear; the interpolated magnitude of every signal x gains ends at or below it. */
  readonly ceiling: number
}

/** How the gain moves. @source docs/decisions/0014 */
const REACH_MS = 2
const HOLD_MS = 17
const RELEASE_DB_PER_SECOND = 60

const BLOCK = 64
const CHUNK_BLOCKS = 32
const CHUNK = CHUNK_BLOCKS * BLOCK
/** Frames of a line before and after its chunk: the block before is detected too, and both look a block further. */
const CONTEXT = 3 * BLOCK
const LINE = CHUNK + 2 * CONTEXT
const UNITY = 1073741824
/** Covers the rounding of single precision in lines and bounds. */
const ROUNDING = 1.00001
/** The measured peak ends at most this far below the ceiling when the stage works. */
const AIM_BELOW_DB = 0.002
const ACCEPT_BELOW_DB = 0.001
const MOST_PASSES = 8
/** Not below the sum of magnitudes of any interpolator in use, however steep. */
const WIDEST_SUM = 3.5
/** Above the flat band of a short interpolator nothing is promised, so a window with steep skirts serves best. */
const KAISER_BETA = 6

type Placed = Interpolator & { readonly address: number }

/** Addresses of one stretch's scratch; see `place`. */
type Work = ReturnType<typeof place>

/**
 * Linked true-peak ceiling: finds the gain, common to all signals, that keeps every one of them at or below the
 * ceiling between the samples too, and multiplies it into `ceilingGain`. False: nothing came near, nothing was done.
 *
 * Detects at 4x with a flat interpolator of 48 taps, by the table of BS.1770 Annex 2 and by a short Hann filter, then
 * measures the gained signals at 16x with 96 taps and by the filters that meters use, and lowers what still exceeds,
 * until nothing does. Half the phases at twice the rate. Only blocks that provably cannot exceed are skipped.
 * The gain never exceeds what a frame requires. After a reduction of 45 dB nothing older than 0.8 s has a say in it.
 * Memory: 4 bytes a frame + 10 kB a plane + 100 kB from the arena, given back.
 * @source ITU-R BS.1770-5 Annex 2 (detector); docs/decisions/0014 (shaping)
 */
export function keepBelowCeiling(kernels: Kernels, stretch: CeilingStretch): boolean {
  const mark = kernels.arena.mark()
  const work = place(kernels, stretch)
  const { detectors, verifiers } = interpolators(kernels, stretch.sampleRateHz)
  const aim = stretch.ceiling * dbToGain(-AIM_BELOW_DB)
  const accept = stretch.ceiling * dbToGain(-ACCEPT_BELOW_DB)

  work.due.fill(1)
  let hasActed = measure(kernels, stretch, work, detectors, aim, aim)
  if (work.hot.includes(1)) {
    if (hasActed) shape(kernels, stretch, work)
    for (let block = 0; block < work.blockCount; block++) work.due[block] = work.hot[chunkOf(block)] as number
    for (let pass = 0; pass < MOST_PASSES; pass++) {
      if (!measure(kernels, stretch, work, verifiers, accept, aim)) break
      hasActed = true
      work.touched.fill(0)
      shape(kernels, stretch, work)
      dueAround(work.touched, work.due)
    }
  }
  kernels.arena.release(mark)
  return hasActed
}

function chunkOf(block: number): number {
  return Math.floor(block / CHUNK_BLOCKS)
}

function place(kernels: Kernels, stretch: CeilingStretch) {
  const take = (bytes: number) => kernels.arena.take(bytes)
  const blockCount = Math.ceil(stretch.frameCount / BLOCK)
  const chunkCount = Math.ceil(blockCount / CHUNK_BLOCKS)
  const buffer = kernels.memory.buffer
  const frames = (milliseconds: number) => Math.round((milliseconds * stretch.sampleRateHz) / 1000)
  const reach = frames(REACH_MS)
  const hold = frames(HOLD_MS)
  const boxes = [Math.floor((2 * reach) / 3) + 1, Math.floor((2 * reach + 1) / 3) + 1, 0]
  boxes[2] = 2 * reach + 3 - (boxes[0] as number) - (boxes[1] as number)
  const touched = take(blockCount)
  const planes = [...new Set(stretch.signals.flatMap((signal) => signal.map((term) => term.plane)))]
  const lines = planes.map(() => take(LINE * 4))
  const blockMinima = take(blockCount * 4)
  // One block before the chunk, so that what lies between two chunks is found; slack for the frame before that.
  const detected = (CHUNK + 2 * BLOCK) * 4
  const bounds = (CHUNK_BLOCKS + 4) * 4
  const peaks = take(bounds)
  const bends = take(bounds)
  const at = take(detected)
  const between = take(detected)
  return {
    blockCount,
    chunkCount,
    required: take(chunkCount * CHUNK * 4),
    blockMinima,
    minima: new Int32Array(buffer, blockMinima, blockCount),
    touchedAddress: touched,
    touched: new Uint8Array(buffer, touched, blockCount).fill(0),
    due: new Uint8Array(blockCount),
    hot: new Uint8Array(chunkCount),
    planes,
    lines,
    lineFrames: lines.map((line) => new Float32Array(buffer, line, LINE)),
    linePeaks: new Float64Array(planes.length),
    signals: stretch.signals.map((signal) =>
      signal.map(({ plane, weight }) => ({ line: planes.indexOf(plane), weight })),
    ),
    mix: take(LINE * 4),
    gains: take(LINE * 4),
    peaks,
    peakOf: new Float32Array(buffer, peaks, CHUNK_BLOCKS + 4),
    bends,
    bendOf: new Float32Array(buffer, bends, CHUNK_BLOCKS + 4),
    at: at + BLOCK * 4,
    atFrames: new Float32Array(buffer, at, CHUNK + 2 * BLOCK),
    between: between + BLOCK * 4,
    betweenFrames: new Float32Array(buffer, between, CHUNK + 2 * BLOCK),
    active: new Uint8Array(CHUNK_BLOCKS + 1),
    reach,
    hold,
    boxes,
    queue: take((2 * reach + hold + 2) * 8),
    rings: take((2 * reach + 3) * 8),
  }
}

function interpolators(kernels: Kernels, sampleRateHz: number) {
  const scale = sampleRateHz < 80000 ? 1 : sampleRateHz < 160000 ? 2 : 4
  const put = (interpolator: Interpolator): Placed => {
    const address = kernels.arena.take(interpolator.table.byteLength)
    new Float32Array(kernels.memory.buffer, address, interpolator.table.length).set(interpolator.table)
    return { ...interpolator, address }
  }
  const annex2 = put(annex2Interpolator())
  const hann = scale === 1 ? [put(hannInterpolator())] : []
  const kaiser = scale === 1 ? [put(sincInterpolator(4, 16, 9))] : []
  return {
    detectors: [put(sincInterpolator(Math.max(2, 4 / scale), 24, KAISER_BETA)), annex2, ...hann],
    verifiers: [put(sincInterpolator(16 / scale, 48, KAISER_BETA)), annex2, ...hann, ...kaiser],
  }
}

/**
 * Finds the gain that each frame of the due blocks requires on top of the present gains, where a peak is above
 * `above`; false if none requires any. Chunks that even the widest interpolator cannot lift to `aim` are left cold.
 */
function measure(
  kernels: Kernels,
  stretch: CeilingStretch,
  work: Work,
  interpolators: readonly Placed[],
  above: number,
  aim: number,
): boolean {
  let isRequired = false
  for (let chunk = 0; chunk < work.chunkCount; chunk++) {
    const firstBlock = chunk * CHUNK_BLOCKS
    const blocks = Math.min(CHUNK_BLOCKS, work.blockCount - firstBlock)
    work.minima.fill(UNITY, firstBlock, firstBlock + blocks)
    if (!work.due.subarray(firstBlock, firstBlock + blocks).includes(1)) continue
    if (!detect(kernels, stretch, work, interpolators, chunk, above)) continue
    for (let block = 0; block < blocks; block++) {
      if (work.due[firstBlock + block] === 0 || (work.active[block] === 0 && work.active[block + 1] === 0)) continue
      const offset = block * BLOCK * 4
      const required = work.required + (firstBlock + block) * BLOCK * 4
      const lowest = kernels.exports.requiredGains(work.at + offset, work.between + offset, above, aim, required)
      work.minima[firstBlock + block] = lowest
      if (lowest < UNITY) isRequired = true
    }
  }
  return isRequired
}

/**
 * Collects the peaks of one chunk over all signals: `active[1 + block]` says which blocks have any that matter,
 * from the block before the chunk on. False if there is none.
 */
function detect(
  kernels: Kernels,
  stretch: CeilingStretch,
  work: Work,
  interpolators: readonly Placed[],
  chunk: number,
  above: number,
): boolean {
  gainPlanes(kernels, stretch, work, chunk)
  let isActive = false
  for (const signal of work.signals) {
    const { line, peak } = lineOf(kernels, work, signal, above)
    if (peak * WIDEST_SUM <= above) continue
    work.hot[chunk] = 1
    if (interpolators.every((interpolator) => peak * interpolator.absoluteSum * ROUNDING <= above)) continue
    if (!isActive) {
      isActive = true
      work.active.fill(0)
      work.atFrames.fill(0)
      work.betweenFrames.fill(0)
    }
    detectSignal(kernels, work, interpolators, chunk, line, above)
  }
  return isActive
}

/** Every plane of a chunk under the present gains, in single precision; silence outside the stretch. */
function gainPlanes(kernels: Kernels, stretch: CeilingStretch, work: Work, chunk: number): void {
  const { exports } = kernels
  const lineStart = chunk * CHUNK - CONTEXT
  const firstFrame = Math.max(0, lineStart)
  const count = Math.min(stretch.frameCount, lineStart + LINE) - firstFrame
  const offset = (firstFrame - lineStart) * 4
  exports.gainsOfLine(work.gains, stretch.commonGain + firstFrame * 8, stretch.ceilingGain + firstFrame * 8, count)
  work.planes.forEach((plane, index) => {
    if (count < LINE) work.lineFrames[index]?.fill(0)
    const address = plane.address + firstFrame * bytesPerPlaneSample(plane)
    const line = (work.lines[index] as number) + offset
    work.linePeaks[index] = exports.gainedLine(line, address, plane.isWide ? 1 : 0, work.gains, count)
  })
}

/** A signal's line and the highest magnitude on it, or a bound of that which already shows that it cannot matter. */
function lineOf(
  kernels: Kernels,
  work: Work,
  signal: readonly { readonly line: number; readonly weight: number }[],
  above: number,
): { line: number; peak: number } {
  const [only] = signal
  if (signal.length === 1 && only?.weight === 1) {
    return { line: work.lines[only.line] as number, peak: work.linePeaks[only.line] as number }
  }
  let peak = 0
  for (const { line, weight } of signal) peak += Math.abs(weight) * (work.linePeaks[line] as number)
  if (peak * WIDEST_SUM <= above) return { line: work.mix, peak }
  signal.forEach(({ line, weight }, term) => {
    peak = kernels.exports.mixLine(work.mix, work.lines[line] as number, weight, LINE, term > 0 ? 1 : 0)
  })
  return { line: work.mix, peak }
}

function detectSignal(
  kernels: Kernels,
  work: Work,
  interpolators: readonly Placed[],
  chunk: number,
  line: number,
  above: number,
): void {
  const { exports } = kernels
  const { peakOf, bendOf } = work
  const firstBlock = chunk * CHUNK_BLOCKS
  exports.blockBounds(line + BLOCK * 4, CHUNK_BLOCKS + 4, work.peaks, work.bends)
  for (let block = -1; block < CHUNK_BLOCKS; block++) {
    if (!isWanted(work, firstBlock + block)) continue
    const b = block + 2
    const near = Math.max(peakOf[b] as number, peakOf[b + 1] as number)
    const wide = Math.max(near, peakOf[b - 1] as number)
    const bend = Math.max(bendOf[b - 1] as number, bendOf[b] as number, bendOf[b + 1] as number)
    const first = line + (CONTEXT + block * BLOCK) * 4
    let isActive = near > above
    for (const { absoluteSum, straight, bent, address, couples, tapsPerSide } of interpolators) {
      const bound = Math.min(absoluteSum * wide, straight * near + bent * bend)
      if (bound * ROUNDING <= above) continue
      isActive = true
      exports.interpolateBlock(first, work.between + block * BLOCK * 4, address, couples, tapsPerSide)
    }
    if (!isActive) continue
    work.active[block + 1] = 1
    exports.samplePeaksOfBlock(first, work.at + block * BLOCK * 4)
  }
}

/** The block before a due one is detected too: what lies between the two counts for both. */
function isWanted(work: Work, block: number): boolean {
  return work.due[block] === 1 || work.due[block + 1] === 1
}

function shape(kernels: Kernels, stretch: CeilingStretch, work: Work): void {
  const [box1, box2, box3] = work.boxes as [number, number, number]
  kernels.exports.shapeGain(
    work.required,
    work.blockMinima,
    work.blockCount,
    stretch.frameCount,
    stretch.ceilingGain,
    work.touchedAddress,
    work.reach,
    work.hold,
    dbToGain(RELEASE_DB_PER_SECOND / stretch.sampleRateHz),
    box1,
    box2,
    box3,
    work.queue,
    work.rings,
  )
}

/** A change of gain reaches as far as an interpolator: less than a block. */
function dueAround(touched: Uint8Array, due: Uint8Array): void {
  for (let block = 0; block < due.length; block++) {
    const isNear = touched[block - 1] === 1 || touched[block] === 1 || touched[block + 1] === 1
    due[block] = isNear ? 1 : 0
  }
}

import type { FrameRange } from '../../../domain/index.ts'
import type { Stretch } from '../detector.ts'
import { interpolationError, type Prediction, predict } from './click-prediction.ts'
import type { Click } from './evidence.ts'

/** Blocks of this length are compared with their neighbours. */
const BLOCK_SECONDS = 0.0025
/** The highest second difference of a block over its surroundings' mean that makes it worth a prediction. */
const LEAST_CREST = 5.5
/** Blocks at each side in which nothing else may stand out: 30 ms, a period of 33 Hz. */
const ISOLATION_BLOCKS = 12
/** How high others may stand there, as a share of the click; periods of one wave are of one height. */
const HIGHEST_NEIGHBOUR = 0.75
/** A click that stands alone may be small; beside others it must be plain. */
const ALONE_BELOW = 0.4
const PLAIN_FACTOR = 3
/** -60 dBFS: the least height of a click. */
const LOWEST_HEIGHT = 0.001
/**
 * Height over the usual error of the prediction for each width: the wider, the more likely is a plucked or struck
 * sound. And what may remain when the click is taken out.
 */
const LEAST_PROMINENCE = [12, 12, 20, 40, 80]
const MOST_REMAINING = 5.5
/** After a click the sound goes on as before; after a beat or at a cut it does not. */
const MOST_CHANGE = 2.5
const MOST_KEPT = 512

/**
 * Impulses of one or a few samples that the sound around them does not explain: where they are taken out and
 * drawn anew from their neighbours, nothing is missing. A drum, a shot or a plucked string rings on and is not that.
 * @source autoregressive detection and interpolation, S. V. Vaseghi, Advanced Digital Signal Processing, impulsive noise
 */
export function findClicks(stretch: Stretch, plane: Float32Array, step: number): Click[] {
  const clicks: Click[] = []
  const blockFrames = Math.round(BLOCK_SECONDS * stretch.sampleRateHz)
  const from = Math.max(2, stretch.leadFrames - (ISOLATION_BLOCKS + 1) * blockFrames)
  const blocks = bendsOf(plane, from, blockFrames)
  const toProgramme = stretch.firstFrame - stretch.leadFrames
  const prediction = predict(stretch.sampleRateHz)
  for (let block = 0; block < blocks.highest.length; block++) {
    const frame = blocks.at[block] as number
    if (frame < stretch.leadFrames || frame >= stretch.leadFrames + stretch.frameCount) continue
    const neighbour = highestNeighbour(blocks, block, frame, blockFrames)
    if (neighbour > HIGHEST_NEIGHBOUR || clicks.length >= MOST_KEPT) continue
    const click = confirm(prediction, plane, frame - 1, step, neighbour > ALONE_BELOW ? PLAIN_FACTOR : 1)
    if (click === null) continue
    clicks.push({ ...click, startFrame: click.startFrame + toProgramme, endFrame: click.endFrame + toProgramme })
  }
  return clicks
}

type Bends = { readonly highest: Float32Array; readonly mean: Float32Array; readonly at: Int32Array }

/** The highest and the mean second difference of each block, and where the highest stands. */
function bendsOf(plane: Float32Array, from: number, blockFrames: number): Bends {
  const count = Math.max(0, Math.floor((plane.length - from) / blockFrames))
  const bends = { highest: new Float32Array(count), mean: new Float32Array(count), at: new Int32Array(count) }
  let a = plane[from - 2] as number
  let b = plane[from - 1] as number
  for (let block = 0, frame = from; block < count; block++) {
    let highest = 0
    let sum = 0
    let at = frame
    for (const end = frame + blockFrames; frame < end; frame++) {
      const c = plane[frame] as number
      const size = Math.abs(a - 2 * b + c)
      a = b
      b = c
      sum += size
      if (size > highest) {
        highest = size
        at = frame
      }
    }
    bends.highest[block] = highest
    bends.mean[block] = sum / blockFrames
    bends.at[block] = at
  }
  return bends
}

/** The highest bend around a block's highest, as a share of it; infinite where the block does not stand out. */
function highestNeighbour(blocks: Bends, block: number, frame: number, blockFrames: number): number {
  const height = blocks.highest[block] as number
  if (height < LOWEST_HEIGHT) return Number.POSITIVE_INFINITY
  const before = blocks.mean[block - 1] ?? 0
  const after = blocks.mean[block + 1] ?? 0
  // The click itself counts in its own block, so the block's mean is taken without it.
  const own = Math.max(0, (blocks.mean[block] as number) - (2 * height) / blockFrames)
  if (height < LEAST_CREST * Math.max(before, after, own)) return Number.POSITIVE_INFINITY
  const first = Math.max(0, block - ISOLATION_BLOCKS)
  const last = Math.min(blocks.highest.length - 1, block + ISOLATION_BLOCKS)
  let highest = 0
  for (let other = first; other <= last; other++) {
    if (Math.abs((blocks.at[other] as number) - frame) < blockFrames / 4) continue
    highest = Math.max(highest, blocks.highest[other] as number)
  }
  return highest / height
}

/** Looks at the place with a long prediction; null where the sound itself explains the impulse. */
function confirm(
  prediction: Prediction,
  plane: Float32Array,
  centre: number,
  step: number,
  factor: number,
): Click | null {
  const residual = prediction.around(plane, centre)
  if (residual === null) return null
  const usual = Math.max(residual.usualError, step)
  const [less, more] = [residual.errorBefore, residual.errorAfter].toSorted((a, b) => a - b) as [number, number]
  if (more > MOST_CHANGE * Math.max(less, step)) return null
  const drawn = interpolationError(residual, MOST_REMAINING * usual)
  if (drawn === null || drawn.height < factor * leastProminence(drawn) * usual || drawn.height < LOWEST_HEIGHT)
    return null
  return {
    startFrame: drawn.startFrame,
    endFrame: drawn.endFrame,
    height: drawn.height,
    prominence: drawn.height / usual,
  }
}

function leastProminence({ startFrame, endFrame }: FrameRange): number {
  return LEAST_PROMINENCE[endFrame - startFrame] ?? Number.POSITIVE_INFINITY
}

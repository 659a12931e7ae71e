import {
  type AudioSource,
  type BandLine,
  type BandsPlan,
  bytesPerFrame,
  type Cancellation,
  Cancelled,
  cornersOf,
  FRONT_LOW_END_HZ,
  type FrameRange,
  LAYOUTS,
  type Role,
  type Segment,
} from '../../domain/index.ts'
import {
  type BandStretch,
  bandMarginFrames,
  bandProducts,
  bandSquares,
  decodeChannel,
  type Kernels,
  needsWidePlane,
  type Plane,
  takePlane,
  treatBands,
} from '../../dsp/index.ts'

const READ_SECONDS = 1

/**
 * The low end of one segment: four mean products of each 100 ms, see `bandProducts`, over all channels but the LFE.
 * Segments joined give what one pass over the programme gives, to the last bit.
 */
export function lowEndOfSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  crossoverHz: number,
  cancellation?: Cancellation,
): Float64Array {
  const margin = bandMarginFrames(source.format.sampleRateHz)
  return withMains(kernels, source, segment, margin, cancellation, (stretch) =>
    bandProducts(kernels, stretch, { crossoversHz: [crossoverHz], band: 0 }, segment),
  )
}

/** What is done to a programme before its bands are looked at, and where in the programme. */
export type TreatedBefore = { readonly plan: BandsPlan; readonly programme: readonly FrameRange[] | undefined }

/**
 * The bands of one segment: the mean square of each band of each channel but the LFE in each 100 ms, see `bandSquares`,
 * behind an earlier treatment if there is one. Segments joined give what one pass over the programme gives.
 */
export function bandsOfSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  crossoversHz: readonly number[],
  before: TreatedBefore | null,
  cancellation?: Cancellation,
): Float64Array {
  const margin = bandMarginFrames(source.format.sampleRateHz) * (before === null ? 1 : 2)
  return withMains(kernels, source, segment, margin, cancellation, (stretch) => {
    if (before !== null) treatBands(kernels, stretch, before.plan, before.programme)
    return bandSquares(kernels, stretch, crossoversHz, segment)
  })
}

/**
 * The sub of one segment: the mean square of the LFE and that of L, R and C together below `FRONT_LOW_END_HZ`, in turn,
 * of each begun 100 ms; the fronts behind earlier treatments of bands if there are any.
 */
export function subLevelsOfSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  before: readonly TreatedBefore[] = [],
  cancellation?: Cancellation,
): Float64Array {
  const margin = bandMarginFrames(source.format.sampleRateHz) * (1 + before.length)
  return withChannels(kernels, source, ['L', 'R', 'C', 'LFE'], segment, margin, cancellation, (stretch) => {
    const fronts = { ...stretch, planes: stretch.planes.slice(0, 3) }
    for (const { plan, programme } of before) treatBands(kernels, fronts, plan, programme)
    const low = bandSquares(kernels, fronts, [FRONT_LOW_END_HZ], segment)
    const lfe = bandSquares(kernels, { ...stretch, planes: stretch.planes.slice(3) }, [], segment)
    const levels = new Float64Array(2 * lfe.length)
    for (const [hop, power] of lfe.entries()) {
      levels[2 * hop] = power
      for (const band of [0, 2, 4])
        levels[2 * hop + 1] = (levels[2 * hop + 1] as number) + (low[6 * hop + band] as number)
    }
    return levels
  })
}

/**
 * The bands of lines of one segment: mean square of each of them in each begun 100 ms, all channels but the LFE together,
 * in turn, behind earlier treatments of bands if there are any.
 */
export function bandLevelsOfSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  lines: readonly BandLine[],
  before: readonly TreatedBefore[] = [],
  cancellation?: Cancellation,
): Float64Array {
  const margin = bandMarginFrames(source.format.sampleRateHz) * (1 + before.length)
  return withMains(kernels, source, segment, margin, cancellation, (stretch) => {
    for (const { plan, programme } of before) treatBands(kernels, stretch, plan, programme)
    const powers = lines.map((line) => powersOfBand(kernels, stretch, line, segment))
    const hops = powers[0]?.length ?? 0
    return Float64Array.from({ length: hops * lines.length }, (_, at) => {
      return powers[at % lines.length]?.[Math.floor(at / lines.length)] as number
    })
  })
}

/** Mean square of the band of a line in each begun 100 ms, all planes together. */
export function powersOfBand(
  kernels: Kernels,
  stretch: BandStretch,
  line: Pick<BandLine, 'fromHz' | 'toHz'>,
  segment: Segment,
): Float64Array {
  const { crossoversHz, band } = cornersOf(line)
  const squares = bandSquares(kernels, stretch, crossoversHz, segment)
  const bands = crossoversHz.length + 1
  const perHop = stretch.planes.length * bands
  const powers = new Float64Array(squares.length / perHop)
  for (const [at, square] of squares.entries()) {
    if (at % bands !== band) continue
    const hop = Math.floor(at / perHop)
    powers[hop] = (powers[hop] as number) + square
  }
  return powers
}

/** Reads every channel but the LFE of a segment, with a margin around it, and gives the memory back afterwards. */
function withMains(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  margin: number,
  cancellation: Cancellation | undefined,
  look: (stretch: BandStretch) => Float64Array,
): Float64Array {
  const mains = LAYOUTS[source.layout].filter((role) => role !== 'LFE')
  return withChannels(kernels, source, mains, segment, margin, cancellation, look)
}

/** The same of some channels. */
export function withChannels(
  kernels: Kernels,
  source: AudioSource,
  roles: readonly Role[],
  segment: Segment,
  margin: number,
  cancellation: Cancellation | undefined,
  look: (stretch: BandStretch) => Float64Array,
): Float64Array {
  const { sampleRateHz } = source.format
  const firstFrame = Math.max(0, segment.firstFrame - margin)
  const frameCount = Math.min(source.frameCount, segment.firstFrame + segment.frameCount + margin) - firstFrame
  const mark = kernels.arena.mark()
  try {
    const planes = readPlanes(kernels, source, roles, { firstFrame, frameCount }, cancellation)
    return look({ planes, firstFrame, frameCount, sampleRateHz })
  } finally {
    kernels.arena.release(mark)
  }
}

/** Reads some channels of a stretch into planes of kernel memory, which the caller gives back. */
export function readPlanes(
  kernels: Kernels,
  source: AudioSource,
  roles: readonly Role[],
  { firstFrame, frameCount }: Pick<BandStretch, 'firstFrame' | 'frameCount'>,
  cancellation: Cancellation | undefined,
): readonly Plane[] {
  const { format, layout } = source
  const channels = LAYOUTS[layout].flatMap((role, channel) => (roles.includes(role) ? [channel] : []))
  const planes = channels.map(() => takePlane(kernels, frameCount, needsWidePlane(format.encoding)))
  const mark = kernels.arena.mark()
  const readFrames = READ_SECONDS * format.sampleRateHz
  const address = kernels.arena.take(readFrames * bytesPerFrame(format))
  for (let frame = 0; frame < frameCount; frame += readFrames) {
    if (cancellation?.aborted) throw new Cancelled()
    const count = Math.min(readFrames, frameCount - frame)
    const bytes = new Uint8Array(kernels.memory.buffer, address, count * bytesPerFrame(format))
    source.readInto(bytes, firstFrame + frame, count)
    for (const [index, plane] of planes.entries()) {
      decodeChannel(kernels, { address, format, frameCount: count }, channels[index] as number, plane, frame)
    }
  }
  kernels.arena.release(mark)
  return planes
}

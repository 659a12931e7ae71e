import type { NoiseFloor, TrackSide, TwoTrackKind, TwoTrackReport } from './inspection/two-track.ts'

/** How late the right track is at one frame of the programme, in microseconds; negative: the left one. */
export type DelayPoint = { readonly frame: number; readonly microseconds: number }

/** What two tracks were found to be, as far as an upmix acts on it. */
export type SourceReading = {
  /** What most of the programme is. */
  readonly found: TwoTrackKind | 'mixed'
  /** What `kind: auto` stands for. */
  readonly kind: 'stereo' | 'lt-rt'
  /** 0 (a guess) to 1. */
  readonly confidence: number
  /** True where the mixer should say `kind` himself. */
  readonly isDoubtful: boolean
  /** The one track that has the sound. */
  readonly onlySide: TrackSide | null
  /** The right track is upside down against the left one. */
  readonly isInverted: boolean
  /** How late the right track is as a whole, in microseconds: an offset, not a tape head; 0 where there is none. */
  readonly offsetMicroseconds: number
  /** Much of the sound lies in antiphase, though the middle does not. */
  readonly isWide: boolean
  /** Delay of a tape head along time, in rising frames; straight lines between, held at both ends; empty: aligned. */
  readonly delay: readonly DelayPoint[]
  readonly noiseFloor: NoiseFloor | null
  /** How surely a voice sounds in each 100 ms, 0..255, as `voiceOf` tells; null where nobody listened. */
  readonly voice100ms: readonly number[] | null
  /** Sentences to the mixer: why the tracks were found to be that. */
  readonly evidence: readonly string[]
}

/** A matrix is decoded where this much of what sounds is surely encoded, as long as the rest is plain. */
const LEAST_MATRIX_SHARE = 0.2
/** Below this a kind is called doubtful. */
const SURE = 0.65
/** A kind that fills this much of the sound is acted on as a whole. */
const WHOLE = 0.9
/** Nobody hears less: 0.1 dB at 16 kHz. */
const LEAST_DELAY_MICROSECONDS = 3
/** Antiphase in plain stereo above this share of the sound. @source mixes with the difference raised by 6 dB, measured */
const WIDE = 0.15
/** Offsets that differ by more are several machines, and one shift does not mend them. */
const ONE_OFFSET_MICROSECONDS = 100

/** Makes what an upmix needs out of what `inspect` found. */
export function readSource(report: TwoTrackReport): SourceReading {
  const sounding = report.stretches.filter(({ kind }) => kind !== 'silent')
  const total = sounding.reduce((sum, each) => sum + each.endFrame - each.startFrame, 0)
  const shareOf = (is: (stretch: (typeof sounding)[number]) => boolean) =>
    total === 0 ? 0 : sounding.filter(is).reduce((sum, each) => sum + each.endFrame - each.startFrame, 0) / total
  const kindShare = (kind: TwoTrackKind) => shareOf((stretch) => stretch.kind === kind)
  const matrix = kindShare('matrix-encoded')
  const maybe = kindShare('possibly-matrix-encoded')
  const isMatrix = matrix >= LEAST_MATRIX_SHARE && matrix + maybe + kindShare('plain-stereo') >= WHOLE
  const isAllMatrix = report.kind === 'matrix-encoded'
  const isDoubtful = isMatrix ? !isAllMatrix || report.confidence < SURE : matrix > 0 || maybe > 0
  const onlySide = (['left', 'right'] as const).find(
    (side) => shareOf((stretch) => stretch.kind === 'one-sided' && stretch.side === side) >= WHOLE,
  )
  return {
    found: report.kind,
    kind: isMatrix ? 'lt-rt' : 'stereo',
    confidence: report.confidence,
    isDoubtful,
    onlySide: onlySide ?? null,
    isInverted: shareOf((stretch) => stretch.isInverted || stretch.kind === 'polarity-inverted') >= WHOLE,
    offsetMicroseconds: wholeOffset(report),
    isWide: shareOf(({ kind, figures }) => kind === 'plain-stereo' && figures.negU + figures.neg > WIDE) >= WHOLE,
    delay: delayPoints(report),
    noiseFloor: report.hiss.floor,
    voice100ms: null,
    evidence: report.evidence,
  }
}

/** The offset of a programme that has one and the same nearly everywhere; else 0. */
function wholeOffset({ kind, stretches }: TwoTrackReport): number {
  if (kind !== 'time-offset') return 0
  const offsets = stretches.filter((stretch) => stretch.kind === 'time-offset')
  const longest = offsets.reduce((a, b) => (b.endFrame - b.startFrame > a.endFrame - a.startFrame ? b : a))
  const lag = longest.figures.lagMicroseconds ?? 0
  const isOne = offsets.every(
    ({ figures }) => Math.abs((figures.lagMicroseconds ?? 0) - lag) <= ONE_OFFSET_MICROSECONDS,
  )
  return isOne ? lag : 0
}

/** The delays of a tape head, each the median of itself and its two neighbours: one wrong cell turns nothing. */
function delayPoints({ azimuth }: TwoTrackReport): readonly DelayPoint[] {
  if (azimuth === null) return []
  const worst = Math.max(Math.abs(azimuth.leastMicroseconds), Math.abs(azimuth.mostMicroseconds))
  if (worst < LEAST_DELAY_MICROSECONDS) return []
  const { curve } = azimuth
  return curve.map(({ startFrame, endFrame }, at) => {
    const near = curve.slice(Math.max(0, at - 1), at + 2).map(({ delayMicroseconds }) => delayMicroseconds)
    const sorted = near.toSorted((a, b) => a - b)
    const middle = (sorted[(sorted.length - 1) >> 1] as number) + (sorted[sorted.length >> 1] as number)
    return { frame: (startFrame + endFrame) / 2, microseconds: middle / 2 }
  })
}

/** How late the right track is at a frame, in microseconds. */
export function delayAt(points: readonly DelayPoint[], frame: number): number {
  const after = points.findIndex((point) => point.frame > frame)
  if (points.length === 0) return 0
  if (after === 0) return (points[0] as DelayPoint).microseconds
  if (after < 0) return (points.at(-1) as DelayPoint).microseconds
  const from = points[after - 1] as DelayPoint
  const to = points[after] as DelayPoint
  const share = (frame - from.frame) / (to.frame - from.frame)
  return from.microseconds + share * (to.microseconds - from.microseconds)
}

import { type Clock, frameRateFraction, labelAt, type Passage, pictureAt } from '../../domain/index.ts'
import { inTime, MARKER_COLOURS, type MarkedProgramme, oneLine, passageName } from './marked-programme.ts'

/** Counts time in pictures of the timecode, or in audio frames where there is none. */
type Ruler = {
  readonly rate: number
  /** Value of the first frame of the programme in the time of its file. */
  readonly start: number
  /** Value since the start of the programme. */
  readonly valueAt: (frameIndex: number) => number
}

/**
 * Passages as markers on a timeline that holds the programme as its only clip. The markers stand on the stack, in
 * timeline time (0 at the first frame); the clip's ranges are in the time of its file, which begins at the timecode of
 * the first frame, as `global_start_time` says too.
 * @source OpenTimelineIO file format: Timeline.1, Stack.1, Track.1, Clip.2, Marker.2, ExternalReference.1
 */
export function passagesOtio(programme: MarkedProgramme): string {
  const { fileName, clock, frameCount, sampleRateHz, passages } = programme
  const ruler = rulerOf(clock, sampleRateHz)
  const whole = range(ruler, ruler.start, ruler.valueAt(frameCount - 1) + 1)
  const reference = {
    ...object('ExternalReference.1', fileName),
    available_range: whole,
    available_image_bounds: null,
    target_url: encodeURIComponent(fileName),
  }
  const clip = {
    ...item('Clip.2', fileName, whole),
    media_references: { DEFAULT_MEDIA: reference },
    active_media_reference_key: 'DEFAULT_MEDIA',
  }
  const track = { ...item('Track.1', 'programme', null), kind: 'Audio', children: [clip] }
  const markers = inTime(passages).map((passage) => markerOf(passage, programme, ruler))
  const timeline = {
    ...object('Timeline.1', fileName),
    global_start_time: clock === null ? null : rational(ruler.rate, ruler.start),
    tracks: { ...item('Stack.1', 'tracks', null), markers, children: [track] },
  }
  return `${JSON.stringify(timeline, null, 2)}\n`
}

function rulerOf(clock: Clock | null, sampleRateHz: number): Ruler {
  if (clock === null) return { rate: sampleRateHz, start: 0, valueAt: (frameIndex) => frameIndex }
  const { numerator, denominator } = frameRateFraction(clock.format.rate)
  return {
    rate: numerator / denominator,
    start: clock.startPicture,
    valueAt: (frameIndex) => pictureAt(clock, frameIndex),
  }
}

function markerOf(passage: Passage, { clock, sampleRateHz }: MarkedProgramme, ruler: Ruler) {
  const { startFrame, endFrame, rank, kind, line, measured, allowed, unit, excess, suggestedTrimDb } = passage
  const start = ruler.valueAt(startFrame)
  const label = (frame: number) => (clock === null ? null : labelAt(clock, frame))
  const exact = { startFrame, endFrame, sampleRateHz, startTimecode: label(startFrame), endTimecode: label(endFrame) }
  return {
    ...object('Marker.2', passageName(passage)),
    color: MARKER_COLOURS[kind],
    comment: oneLine(passage.message),
    marked_range: range(ruler, start, ruler.valueAt(endFrame - 1) + 1 - start),
    metadata: { plimsoll: { rank, kind, line, measured, allowed, unit, excess, suggestedTrimDb, ...exact } },
  }
}

function object(schema: string, name: string) {
  return { OTIO_SCHEMA: schema, metadata: {}, name: oneLine(name) }
}

function item(schema: string, name: string, sourceRange: ReturnType<typeof range> | null) {
  return { ...object(schema, name), source_range: sourceRange, effects: [], markers: [], enabled: true }
}

function range({ rate }: Ruler, start: number, duration: number) {
  return {
    OTIO_SCHEMA: 'TimeRange.1',
    start_time: rational(rate, start),
    duration: rational(rate, duration),
  }
}

function rational(rate: number, value: number) {
  return { OTIO_SCHEMA: 'RationalTime.1', rate, value }
}

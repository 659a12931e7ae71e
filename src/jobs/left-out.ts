import { type Clock, type Finding, type FrameRange, printInstant, printTime } from '../domain/index.ts'

/** Shorter gaps between segments are the map's own coarseness. */
const SHORTEST_GAP_SECONDS = 0.1

type NamedStretch = FrameRange & { readonly kind: string }

/** The note of what is no programme and so is not measured: never in silence. */
export function leftOut(
  segments: readonly NamedStretch[],
  programme: {
    readonly frameCount: number
    readonly clock: Clock | null
    readonly format: { readonly sampleRateHz: number }
  },
  origin: 'the sheet' | 'the sound' | 'the plan',
): readonly Finding[] {
  if (segments.length === 0) return []
  const { clock, frameCount, format } = programme
  const { sampleRateHz } = format
  const print = (frame: number) =>
    clock === null ? printTime(frame / sampleRateHz, 1) : printInstant(clock, frame, sampleRateHz)
  const others = withGaps(segments, frameCount, SHORTEST_GAP_SECONDS * sampleRateHz)
    .filter(({ kind }) => kind !== 'programme')
    .map(({ kind, startFrame, endFrame }) => `${kind} ${print(startFrame)} to ${print(endFrame)}`)
  const kept = segments.filter(({ kind }) => kind === 'programme')
  const seconds = kept.reduce((sum, { startFrame, endFrame }) => sum + endFrame - startFrame, 0) / sampleRateHz
  const count = kept.length === 1 ? 'one programme segment' : `${kept.length} programme segments`
  return [
    {
      id: 'programme-segments',
      severity: 'note',
      line: null,
      measured: seconds,
      allowed: null,
      unit: 's',
      at: null,
      source: null,
      message:
        `By ${origin} ${count}, ${printTime(seconds, 1)} in all, ${kept.length === 1 ? 'is' : 'are'} measured` +
        `${others.length === 0 ? '.' : `; left out: ${others.join(', ')}.`}`,
    },
  ]
}

/** The segments in order of time, with what no segment covers between them. */
function withGaps(segments: readonly NamedStretch[], frameCount: number, shortest: number): readonly NamedStretch[] {
  const end = { kind: 'end', startFrame: frameCount, endFrame: frameCount }
  let reached = 0
  return [...segments, end].flatMap((segment) => {
    const gap = { kind: 'unnamed', startFrame: reached, endFrame: segment.startFrame }
    reached = segment.endFrame
    const kept = segment === end ? [] : [segment]
    return gap.endFrame - gap.startFrame >= shortest ? [gap, ...kept] : kept
  })
}

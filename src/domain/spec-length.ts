import { printFigure } from './figures.ts'
import type { FrameRange } from './frame-range.ts'
import { bandField, bandOfField } from './loudness/index.ts'
import type { DeliverySpec, LengthRange, Limit, LineLeftOut } from './spec.ts'

/** Limits of a spec: their key, the field of the measurements that they stand on, and their name. */
const LIMITS = [
  ['maxTruePeakDbtp', 'maxTruePeakDbtp', 'true peak'],
  ['maxLfeTruePeakDbtp', 'maxLfeTruePeakDbtp', 'true peak of the LFE'],
  ['maxLfeShortTermDbfs', 'lfe.maxShortTermDbfs', 'short-term level of the LFE'],
  ['maxLfeOverFrontsDb', 'lfe.overFrontsDb', 'level of the LFE above the low end of the fronts'],
  ['maxShortTermLkfs', 'maxShortTermLkfs', 'short-term loudness'],
  ['maxMomentaryLkfs', 'maxMomentaryLkfs', 'momentary loudness'],
  ['maxLoudnessRangeLu', 'loudnessRangeLu', 'loudness range'],
] as const

/** How long a file is, or the stretches of it that are programme. */
export function programmeSeconds({
  frameCount,
  sampleRateHz,
  programme,
}: {
  readonly frameCount: number
  readonly sampleRateHz: number
  readonly programme?: readonly FrameRange[] | undefined
}): number {
  const frames = programme?.reduce((sum, { startFrame, endFrame }) => sum + endFrame - startFrame, 0) ?? frameCount
  return frames / sampleRateHz
}

/** Whether a limit holds for a programme of this length. */
export function holdsFor({ length }: Pick<Limit, 'length'>, seconds: number): boolean {
  if (length === undefined) return true
  const { atMostSeconds = Number.POSITIVE_INFINITY, moreThanSeconds = 0 } = length
  return seconds <= atMostSeconds && seconds > moreThanSeconds
}

/** A length of programme in words, e.g. `programmes of at most 120 s`. */
export function lengthInWords({ atMostSeconds, moreThanSeconds }: LengthRange): string {
  const bounds = [
    ...(moreThanSeconds === undefined ? [] : [`more than ${printFigure(moreThanSeconds)} s`]),
    ...(atMostSeconds === undefined ? [] : [`at most ${printFigure(atMostSeconds)} s`]),
  ]
  return `programmes of ${bounds.join(' and ')}`
}

/**
 * A spec as it holds for a programme of this length: lines for shorter or longer ones are taken out and named in
 * `leftOut`. What is programme counts, not slates and breaks.
 */
export function specForLength(spec: DeliverySpec, seconds: number): DeliverySpec {
  const leftOut: LineLeftOut[] = []
  const leave = (field: string, name: string, { length = {}, source }: Limit) => {
    leftOut.push({ field, name, length, seconds, source })
  }
  const kept: Record<string, unknown> = { ...spec }
  for (const [key, field, name] of LIMITS) {
    const limit = spec[key]
    if (limit === undefined || holdsFor(limit, seconds)) continue
    delete kept[key]
    leave(field, name, limit)
  }
  const bands = spec.bandLevels?.filter((limit) => {
    const holds = holdsFor(limit, seconds)
    if (!holds) leave(bandField(limit), `level of the ${bandOfField(bandField(limit))}`, limit)
    return holds
  })
  if (leftOut.length === 0) return spec
  return { ...(kept as DeliverySpec), ...(bands !== undefined && { bandLevels: bands }), leftOut }
}

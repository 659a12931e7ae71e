import { isJudgedOnDialogue, printFigure } from '../domain/index.ts'
import { levelTicks, type Plot, scale, timeTicks } from './axes.ts'
import { areaPath, highestOf, linePath } from './curves.ts'
import { lanesDrawing, lanesHeight } from './lanes.ts'
import type { LoudnessPicture, PicturedPlace } from './loudness-picture.ts'
import { mark } from './mark.ts'
import { type Markup, markup, px } from './markup.ts'

export const CHART_WIDTH = 960
/** The chart without lanes; each lane makes it higher. */
const CHART_HEIGHT = 348
const PLOT: Plot = { left: 58, right: 852, top: 46, bottom: 318 }
/** How far below the target the lane reaches; what is softer lies on its floor. */
const DEPTH_LU = 30
const GRID_LU = 6
/** A narrower tolerance is drawn as the target line alone. */
const NARROWEST_BAND_LU = 1
/** Room above the lane that only the labels of places need. */
const LABEL_ROOM = 18

/** The scales of a loudness chart, and the columns that it draws. */
export type LoudnessScales = {
  readonly highestLkfs: number
  readonly lowestLkfs: number
  readonly columnSeconds: number
  readonly columnCount: number
  readonly x: (seconds: number) => number
  readonly y: (lkfs: number) => number
}

/** Where no spec names a target, the lane is laid around this one.
 * @source EBU R 128
 */
const CUSTOMARY_TARGET_LKFS = -23

export function loudnessScales({ drawn, beside, spec, durationSeconds }: LoudnessPicture): LoudnessScales {
  const columnCount = drawn.shortTermLkfs.high.length
  const target = spec?.programmeLoudness.targetLkfs ?? CUSTOMARY_TARGET_LKFS
  const seen = [
    highestOf(drawn.momentaryLkfs, 0, columnCount),
    beside === null ? null : highestOf(beside.shortTermLkfs, 0, columnCount),
    spec?.maxShortTermLkfs?.value ?? null,
    spec?.maxMomentaryLkfs?.value ?? null,
  ].filter((level) => level !== null)
  const highestLkfs = Math.min(6, GRID_LU * Math.ceil((Math.max(target + GRID_LU, ...seen) + 1) / GRID_LU))
  const lowestLkfs = target - DEPTH_LU
  return {
    highestLkfs,
    lowestLkfs,
    columnSeconds: drawn.columnSeconds,
    columnCount,
    x: scale(0, durationSeconds, PLOT.left, PLOT.right),
    y: scale(lowestLkfs, highestLkfs, PLOT.bottom, PLOT.top),
  }
}

/** What the chart shows, for those who cannot see it. */
export function loudnessInWords({ subject, spec, figures, places }: LoudnessPicture): string {
  const target = spec === null ? '' : `, target ${printFigure(spec.programmeLoudness.targetLkfs)} LKFS`
  return (
    `Loudness over time of the ${subject}${spec === null ? '' : ` against ${spec.title}`}. ` +
    `Programme loudness ${printFigure(figures.programmeLoudnessLkfs)} LKFS${target}. ` +
    `Highest short-term loudness ${printFigure(figures.maxShortTermLkfs)} LKFS, ` +
    `highest momentary loudness ${printFigure(figures.maxMomentaryLkfs)} LKFS. ` +
    (places.length === 0
      ? 'No place is marked.'
      : `${places.length} ${places.length === 1 ? 'place is' : 'places are'} marked.`)
  )
}

/** The part of the drawing that is used: first ordinate and height. */
export function chartView({ places, lanes }: LoudnessPicture): { readonly top: number; readonly height: number } {
  const top = places.length === 0 ? LABEL_ROOM : 0
  return { top, height: CHART_HEIGHT + lanesHeight(lanes) - top }
}

/** Loudness over time as the inside of an SVG as large as `chartView` says; styled by `CHART_CSS`. */
export function loudnessDrawing(picture: LoudnessPicture): Markup {
  const scales = loudnessScales(picture)
  return markup`${HATCHING}${grounds(picture, scales)}${curves(picture, scales)}${lines(picture, scales)}${brackets(picture, scales)}${lanesDrawing(picture.lanes, PLOT, scales.x)}${ruler(picture, scales)}`
}

/** Hatching for what stands above a limit, and the opposite one for what stands below. */
const HATCHING = markup`<defs><pattern id="too-soft" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)"><path class="hatch" d="M3 0v6"/></pattern><pattern id="too-loud" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="hatch" d="M3 0v6"/></pattern></defs>`

function grounds({ spec, lanes }: LoudnessPicture, scales: LoudnessScales): Markup {
  const { y, lowestLkfs, highestLkfs } = scales
  const ticks = levelTicks(lowestLkfs, highestLkfs, GRID_LU)
  const isOverTarget = (level: number) =>
    spec !== null && Math.abs(level - spec.programmeLoudness.targetLkfs) < GRID_LU / 2
  const isOverLane = (level: number) => lanes?.dialogue != null && y(level) > PLOT.bottom - LABEL_HEIGHT / 2
  return markup`${toleranceBand(spec, y)}${ticks.map(
    (level) => markup`<path class="grid" d="M${PLOT.left} ${px(y(level))}H${PLOT.right}"/>`,
  )}${ticks
    .filter((level) => !isOverTarget(level) && !isOverLane(level))
    .map(
      (level) =>
        markup`<text class="axis end" x="${PLOT.left - 8}" y="${px(y(level) + 4)}">${printFigure(level, 0)}</text>`,
    )}<text class="axis end" x="${PLOT.left - 8}" y="${PLOT.top - 12}">LKFS</text>`
}

function toleranceBand(spec: LoudnessPicture['spec'], y: (lkfs: number) => number): Markup | null {
  if (spec === null) return null
  const { targetLkfs, toleranceAboveLu, toleranceBelowLu } = spec.programmeLoudness
  const top = y(targetLkfs + toleranceAboveLu)
  const height = y(targetLkfs - toleranceBelowLu) - top
  return markup`<rect class="band" x="${PLOT.left}" y="${px(top)}" width="${PLOT.right - PLOT.left}" height="${px(height)}"/>`
}

function curves({ drawn, beside }: LoudnessPicture, { x, y, columnSeconds, lowestLkfs }: LoudnessScales): Markup {
  const at = (column: number) => x((column + 0.5) * columnSeconds)
  const besideAt = (column: number) => x((column + 0.5) * (beside?.columnSeconds ?? columnSeconds))
  const shortTerm = drawn.shortTermLkfs.high
  const heard = (values: readonly (number | null)[]) =>
    values.map((level) => (level === null || level <= lowestLkfs ? null : level))
  return markup`<path class="silhouette" d="${areaPath(shortTerm, at, y, PLOT.bottom)}"/>${
    beside === null
      ? null
      : markup`<path class="source" d="${linePath(heard(beside.shortTermLkfs.high), besideAt, y)}"/>`
  }<path class="momentary" d="${linePath(heard(drawn.momentaryLkfs.high), at, y)}"/><path class="edge" d="${linePath(heard(shortTerm), at, y)}"/>`
}

function lines({ spec, figures }: LoudnessPicture, { y }: LoudnessScales): Markup {
  const { dialogueLoudnessLkfs, programmeLoudnessLkfs } = figures
  const isDialogue = spec !== null && isJudgedOnDialogue(spec, figures)
  const total = isDialogue ? dialogueLoudnessLkfs : programmeLoudnessLkfs
  const totalY = total === null ? null : y(total)
  return markup`${spec === null ? null : specLines(spec, y, totalY)}${total === null ? null : totalPointer(y(total), total, isDialogue ? 'dialogue' : 'total')}`
}

function specLines(
  spec: NonNullable<LoudnessPicture['spec']>,
  y: (lkfs: number) => number,
  totalY: number | null,
): Markup {
  const { toleranceAboveLu, toleranceBelowLu, targetLkfs } = spec.programmeLoudness
  const targetY = y(targetLkfs)
  const limits = [
    { limit: spec.maxShortTermLkfs, name: 'short-term' },
    { limit: spec.maxMomentaryLkfs, name: 'momentary' },
  ].flatMap(({ limit, name }) => (limit === undefined ? [] : [{ level: limit.value, name }]))
  const isBandVisible = toleranceAboveLu + toleranceBelowLu >= NARROWEST_BAND_LU
  const bounds = isBandVisible ? [targetLkfs + toleranceAboveLu, targetLkfs - toleranceBelowLu] : []
  return markup`${bounds.map((level) => markup`<path class="bounds" d="M${PLOT.left} ${px(y(level))}H${PLOT.right}"/>`)}${limitLines(limits, y, totalY)}<path class="target" d="M${PLOT.left} ${px(targetY)}H${PLOT.right}"/>${mark(PLOT.left - 44, targetY, 5.5)}<text class="label end strong" x="${PLOT.left - 8}" y="${px(targetY + 4)}">${printFigure(targetLkfs, 0)}</text>`
}

/** Height of a label, for keeping two of them apart. */
const LABEL_HEIGHT = 15

/** Height of the two lines that name the total, and how far they reach above it. */
const TOTAL_LABEL = { above: 11, below: 18 }

/** Upper limits as broken lines, named at their right end; labels that would touch another or the total's move up. */
function limitLines(
  limits: readonly { readonly level: number; readonly name: string }[],
  y: (lkfs: number) => number,
  totalY: number | null,
): readonly Markup[] {
  let free = Number.POSITIVE_INFINITY
  return limits
    .toSorted((a, b) => a.level - b.level)
    .map(({ level, name }) => {
      const wanted = Math.min(y(level) + 4, free - LABEL_HEIGHT)
      const touchesTotal =
        totalY !== null && wanted > totalY - TOTAL_LABEL.above && wanted < totalY + TOTAL_LABEL.below + LABEL_HEIGHT
      const labelY = touchesTotal ? totalY - TOTAL_LABEL.above : wanted
      free = labelY
      return markup`<path class="limit" d="M${PLOT.left} ${px(y(level))}H${PLOT.right}"/><text class="axis" x="${PLOT.right + 8}" y="${px(labelY)}"><tspan class="strong">${printFigure(level)}</tspan> ${name}</text>`
    })
}

function totalPointer(atY: number, total: number, name: string): Markup {
  const x = PLOT.right
  return markup`<path class="pointer" d="M${x + 3} ${px(atY)}l9 -5v10z"/><text class="label strong" x="${x + 17}" y="${px(atY + 1)}">${printFigure(total)}</text><text class="axis" x="${x + 17}" y="${px(atY + 16)}">${name}</text>`
}

/** Average width of a character of a label, for placing texts side by side. */
const CHARACTER_WIDTH = 6.6

function brackets(picture: LoudnessPicture, scales: LoudnessScales): Markup {
  const { x } = scales
  let freeFrom = 0
  const drawn = picture.places.toSorted((a, b) => a.startSeconds - b.startSeconds)
  return markup`${drawn.map((place, index) => {
    const from = x(place.startSeconds)
    const to = Math.max(from + 4, x(place.endSeconds))
    const next = drawn[index + 1]
    const words = `${place.number} ${place.words}`
    const width = words.length * CHARACTER_WIDTH
    const isFree = from >= freeFrom && from + width < Math.min(next === undefined ? CHART_WIDTH : x(next.startSeconds))
    const shown = isFree ? words : from >= freeFrom ? String(place.number) : ''
    if (shown !== '') freeFrom = from + shown.length * CHARACTER_WIDTH + 4
    const missed = place.isMissed ? ' fail' : ''
    return markup`${excess(picture, place, scales)}<path class="bracket${missed}" d="M${px(from)} ${PLOT.top - 2}v-7H${px(to)}v7"/><text class="label ${place.isMissed ? 'out' : 'strong'}" x="${px(from)}" y="${PLOT.top - 15}">${shown}</text>`
  })}`
}

/** The part of the curve that stands beyond its limit, hatched. */
function excess(
  { drawn }: LoudnessPicture,
  { startSeconds, endSeconds, line, limit, side, isMissed }: PicturedPlace,
  { x, y, columnSeconds }: LoudnessScales,
): Markup | null {
  const curve =
    line === 'maxShortTermLkfs' ? drawn.shortTermLkfs : line === 'maxMomentaryLkfs' ? drawn.momentaryLkfs : null
  if (curve === null || limit === null) {
    const plumb = (at: number) =>
      markup`<path class="plumb${isMissed ? ' fail' : ''}" d="M${px(x(at))} ${PLOT.top}V${PLOT.bottom}"/>`
    return x(endSeconds) - x(startSeconds) < 4
      ? plumb(startSeconds)
      : markup`${plumb(startSeconds)}${plumb(endSeconds)}`
  }
  const isInPlace = (column: number) =>
    (column + 1) * columnSeconds >= startSeconds && column * columnSeconds <= endSeconds
  const isBeyond = (level: number) => (side === 'above' ? level > limit : level < limit)
  const beyond = curve.high.map((level, column) =>
    isInPlace(column) && level !== null && isBeyond(level) ? level : null,
  )
  const centre = (column: number) => x((column + 0.5) * columnSeconds)
  return markup`<path class="outside ${side}" d="${areaPath(beyond, centre, y, y(limit))}"/>`
}

function ruler({ durationSeconds, startOfDaySeconds, lanes }: LoudnessPicture, { x }: LoudnessScales): Markup {
  const ticks = timeTicks(durationSeconds, startOfDaySeconds ?? 0)
  const floor = PLOT.bottom + lanesHeight(lanes)
  return markup`<path class="ruler" d="M${PLOT.left} ${floor}H${PLOT.right}"/>${ticks.map(({ seconds, label }) => {
    const at = px(x(seconds))
    return markup`<path class="ruler" d="M${at} ${floor}v6"/><text class="axis middle" x="${at}" y="${floor + 21}">${label}</text>`
  })}`
}

import { type DeliveryReport, type Measurements, printFigure } from '../domain/index.ts'
import { levelTicks, type Plot, scale, timeTicks } from './axes.ts'
import { areaPath, highestOf, linePath } from './curves.ts'
import { mark } from './mark.ts'
import { type Markup, markup, px } from './markup.ts'
import { excessInWords, type NumberedPlace, numberedPlaces } from './places.ts'

export const CHART_WIDTH = 960
export const CHART_HEIGHT = 348
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

export function loudnessScales(report: DeliveryReport): LoudnessScales {
  const { delivered, source } = report.history
  const { spec } = report
  const columnCount = delivered.shortTermLkfs.high.length
  const target = spec.programmeLoudness.targetLkfs
  const seen = [
    highestOf(delivered.momentaryLkfs, 0, columnCount),
    source === null ? null : highestOf(source.shortTermLkfs, 0, columnCount),
    spec.maxShortTermLkfs?.value ?? null,
    spec.maxMomentaryLkfs?.value ?? null,
  ].filter((level) => level !== null)
  const highestLkfs = Math.min(6, GRID_LU * Math.ceil((Math.max(target + GRID_LU, ...seen) + 1) / GRID_LU))
  const lowestLkfs = target - DEPTH_LU
  return {
    highestLkfs,
    lowestLkfs,
    columnSeconds: delivered.columnSeconds,
    columnCount,
    x: scale(0, report.source.measurements.durationSeconds, PLOT.left, PLOT.right),
    y: scale(lowestLkfs, highestLkfs, PLOT.bottom, PLOT.top),
  }
}

/** The file whose curves are drawn: the first that was delivered, or the source where nothing was. */
function drawnFile(report: DeliveryReport): Measurements {
  return report.deliverables[0]?.measurements ?? report.source.measurements
}

/** What the chart shows, for those who cannot see it. */
export function loudnessInWords(report: DeliveryReport): string {
  const measured = drawnFile(report)
  const places = numberedPlaces(report).length
  return (
    `Loudness over time of the ${report.deliverables.length === 0 ? 'source' : 'delivered mix'} against ${report.spec.title}. ` +
    `Programme loudness ${printFigure(measured.programmeLoudnessLkfs)} LKFS, ` +
    `target ${printFigure(report.spec.programmeLoudness.targetLkfs)} LKFS. ` +
    `Highest short-term loudness ${printFigure(measured.maxShortTermLkfs)} LKFS, ` +
    `highest momentary loudness ${printFigure(measured.maxMomentaryLkfs)} LKFS. ` +
    (places === 0 ? 'No place is outside a limit.' : `${places} ${places === 1 ? 'place is' : 'places are'} marked.`)
  )
}

/** The part of the drawing that is used: first ordinate and height. */
export function chartView(report: DeliveryReport): { readonly top: number; readonly height: number } {
  const top = numberedPlaces(report).length === 0 ? LABEL_ROOM : 0
  return { top, height: CHART_HEIGHT - top }
}

/** Loudness over time as the inside of an SVG of `CHART_WIDTH` x `CHART_HEIGHT`; styled by `CHART_CSS`. */
export function loudnessDrawing(report: DeliveryReport): Markup {
  const scales = loudnessScales(report)
  return markup`${HATCHING}${grounds(report, scales)}${curves(report, scales)}${lines(report, scales)}${brackets(report, scales)}${ruler(report, scales)}`
}

/** Hatching for what stands above a limit. */
const HATCHING = markup`<defs><pattern id="too-loud" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="hatch" d="M3 0v6"/></pattern></defs>`

function grounds(report: DeliveryReport, { y, lowestLkfs, highestLkfs }: LoudnessScales): Markup {
  const { targetLkfs, toleranceAboveLu, toleranceBelowLu } = report.spec.programmeLoudness
  const bandTop = y(targetLkfs + toleranceAboveLu)
  const bandHeight = y(targetLkfs - toleranceBelowLu) - bandTop
  const width = PLOT.right - PLOT.left
  const ticks = levelTicks(lowestLkfs, highestLkfs, GRID_LU)
  return markup`<rect class="band" x="${PLOT.left}" y="${px(bandTop)}" width="${width}" height="${px(bandHeight)}"/>${ticks.map(
    (level) => markup`<path class="grid" d="M${PLOT.left} ${px(y(level))}H${PLOT.right}"/>`,
  )}${ticks
    .filter((level) => Math.abs(level - targetLkfs) >= GRID_LU / 2)
    .map(
      (level) =>
        markup`<text class="axis end" x="${PLOT.left - 8}" y="${px(y(level) + 4)}">${printFigure(level, 0)}</text>`,
    )}<text class="axis end" x="${PLOT.left - 8}" y="${PLOT.top - 12}">LKFS</text>`
}

function curves(report: DeliveryReport, { x, y, columnSeconds, lowestLkfs }: LoudnessScales): Markup {
  const { delivered, source } = report.history
  const at = (column: number) => x((column + 0.5) * columnSeconds)
  const sourceAt = (column: number) => x((column + 0.5) * (source?.columnSeconds ?? columnSeconds))
  const shortTerm = delivered.shortTermLkfs.high
  const heard = (values: readonly (number | null)[]) =>
    values.map((level) => (level === null || level <= lowestLkfs ? null : level))
  return markup`<path class="silhouette" d="${areaPath(shortTerm, at, y, PLOT.bottom)}"/>${
    source === null || report.deliverables.length === 0
      ? null
      : markup`<path class="source" d="${linePath(heard(source.shortTermLkfs.high), sourceAt, y)}"/>`
  }<path class="momentary" d="${linePath(heard(delivered.momentaryLkfs.high), at, y)}"/><path class="edge" d="${linePath(heard(shortTerm), at, y)}"/>`
}

function lines(report: DeliveryReport, { y }: LoudnessScales): Markup {
  const { spec } = report
  const targetY = y(spec.programmeLoudness.targetLkfs)
  const limits = [
    { limit: spec.maxShortTermLkfs, name: 'short-term' },
    { limit: spec.maxMomentaryLkfs, name: 'momentary' },
  ].flatMap(({ limit, name }) => (limit === undefined ? [] : [{ level: limit.value, name }]))
  const { dialogueLoudnessLkfs, programmeLoudnessLkfs } = drawnFile(report)
  const isDialogue = spec.anchor === 'dialogue' && dialogueLoudnessLkfs !== null
  const total = isDialogue ? dialogueLoudnessLkfs : programmeLoudnessLkfs
  const { toleranceAboveLu, toleranceBelowLu, targetLkfs } = spec.programmeLoudness
  const isBandVisible = toleranceAboveLu + toleranceBelowLu >= NARROWEST_BAND_LU
  const bounds = isBandVisible ? [targetLkfs + toleranceAboveLu, targetLkfs - toleranceBelowLu] : []
  return markup`${bounds.map((level) => markup`<path class="bounds" d="M${PLOT.left} ${px(y(level))}H${PLOT.right}"/>`)}${limitLines(limits, y)}<path class="target" d="M${PLOT.left} ${px(targetY)}H${PLOT.right}"/>${mark(PLOT.left - 44, targetY, 5.5)}<text class="label end strong" x="${PLOT.left - 8}" y="${px(targetY + 4)}">${printFigure(spec.programmeLoudness.targetLkfs, 0)}</text>${total === null ? null : totalPointer(y(total), total, isDialogue ? 'dialogue' : 'total')}`
}

/** Height of a label, for keeping two of them apart. */
const LABEL_HEIGHT = 15

/** Upper limits as broken lines, named at their right end; labels that would touch are moved up. */
function limitLines(
  limits: readonly { readonly level: number; readonly name: string }[],
  y: (lkfs: number) => number,
): readonly Markup[] {
  let free = Number.POSITIVE_INFINITY
  return limits
    .toSorted((a, b) => a.level - b.level)
    .map(({ level, name }) => {
      const labelY = Math.min(y(level) + 4, free - LABEL_HEIGHT)
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

function brackets(report: DeliveryReport, scales: LoudnessScales): Markup {
  const { x } = scales
  let freeFrom = 0
  const drawn = numberedPlaces(report)
  return markup`${drawn.map((place, index) => {
    const from = x(place.at.startSeconds)
    const to = Math.max(from + 4, x(place.at.endSeconds))
    const next = drawn[index + 1]
    const words = `${place.number} ${excessInWords(place.finding)}`
    const width = words.length * CHARACTER_WIDTH
    const isFree =
      from >= freeFrom && from + width < Math.min(next === undefined ? CHART_WIDTH : x(next.at.startSeconds))
    const shown = isFree ? words : from >= freeFrom ? String(place.number) : ''
    if (shown !== '') freeFrom = from + shown.length * CHARACTER_WIDTH + 4
    return markup`${excess(report, place, scales)}<path class="bracket ${place.finding.severity}" d="M${px(from)} ${PLOT.top - 2}v-7H${px(to)}v7"/><text class="label ${place.finding.severity === 'fail' ? 'out' : 'strong'}" x="${px(from)}" y="${PLOT.top - 15}">${shown}</text>`
  })}`
}

/** The part of the curve that stands above its limit, hatched. */
function excess(
  report: DeliveryReport,
  { finding, at }: NumberedPlace,
  { x, y, columnSeconds }: LoudnessScales,
): Markup | null {
  const { shortTermLkfs, momentaryLkfs } = report.history.delivered
  const curve =
    finding.line === 'maxShortTermLkfs' ? shortTermLkfs : finding.line === 'maxMomentaryLkfs' ? momentaryLkfs : null
  const limit = finding.allowed
  if (curve === null || typeof limit !== 'number') {
    return markup`<path class="plumb ${finding.severity}" d="M${px(x(at.startSeconds))} ${PLOT.top}V${PLOT.bottom}"/>`
  }
  const isInPlace = (column: number) =>
    (column + 1) * columnSeconds >= at.startSeconds && column * columnSeconds <= at.endSeconds
  const above = curve.high.map((level, column) => (isInPlace(column) && level !== null && level > limit ? level : null))
  const centre = (column: number) => x((column + 0.5) * columnSeconds)
  return markup`<path class="outside" d="${areaPath(above, centre, y, y(limit))}"/>`
}

function ruler(report: DeliveryReport, { x }: LoudnessScales): Markup {
  const { measurements, startOfDaySeconds } = report.source
  const ticks = timeTicks(measurements.durationSeconds, startOfDaySeconds ?? 0)
  return markup`<path class="ruler" d="M${PLOT.left} ${PLOT.bottom}H${PLOT.right}"/>${ticks.map(
    ({ seconds, label }) => {
      const at = px(x(seconds))
      return markup`<path class="ruler" d="M${at} ${PLOT.bottom}v6"/><text class="axis middle" x="${at}" y="${PLOT.bottom + 21}">${label}</text>`
    },
  )}`
}

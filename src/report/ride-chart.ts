import { type DeliveryReport, printFigure, type RideHistory } from '../domain/index.ts'
import { levelTicks, type Plot, scale, timeTicks } from './axes.ts'
import { bandPath, linePath } from './curves.ts'
import { CHART_WIDTH } from './loudness-chart.ts'
import { type Markup, markup, px } from './markup.ts'

export const RIDE_HEIGHT = 206
const PLOT: Plot = { left: 58, right: 852, top: 22, bottom: 132 }
/** The lane of the ceiling, under the ride. */
const CEILING_LANE = { top: 150, bottom: 176 }
/** Room above and below the ride; the corridor may reach far beyond it. */
const ROOM_DB = 1

/** The gain over time: the ride in its corridor, and under it the moments in which the ceiling acted. */
export function rideDrawing(report: DeliveryReport): Markup {
  const duration = report.source.measurements.durationSeconds
  const x = scale(0, duration, PLOT.left, PLOT.right)
  return markup`${report.ride === null ? null : ridePlot(report.ride, x)}${ceilingLane(report, x)}${ruler(report, x)}`
}

export function rideInWords(report: DeliveryReport): string {
  const { ride, ceiling } = report.alteration
  const rode =
    ride === null
      ? 'No ride.'
      : `The ride moves ${printFigure(ride.movementDb)} dB in all, ${printFigure(ride.movingShare * 100)} % of the time.`
  const capped =
    ceiling === null || ceiling.events === 0
      ? 'The ceiling did not act.'
      : `The ceiling acted ${ceiling.events} times, by ${printFigure(ceiling.deepestDb)} dB at most.`
  return `Gain over time. ${rode} ${capped}`
}

function ridePlot(ride: RideHistory, x: (seconds: number) => number): Markup {
  const present = (values: readonly (number | null)[]) => values.filter((value) => value !== null)
  const highest = Math.max(0, ...present(ride.gainDb.high)) + ROOM_DB
  const lowest = Math.min(0, ...present(ride.gainDb.low)) - ROOM_DB
  const y = scale(lowest, highest, PLOT.bottom, PLOT.top)
  const at = (column: number) => x((column + 0.5) * ride.columnSeconds)
  const step = highest - lowest > 12 ? 6 : highest - lowest > 5 ? 2 : 1
  const filled = (bound: readonly (number | null)[], missing: number) => bound.map((value) => value ?? missing)
  const corridor = ride.corridorDb
  return markup`<rect class="ground" x="${PLOT.left}" y="${PLOT.top}" width="${PLOT.right - PLOT.left}" height="${PLOT.bottom - PLOT.top}"/>${
    corridor === null
      ? null
      : markup`<path class="band bordered" d="${bandPath(filled(corridor.lowest, lowest), filled(corridor.highest, highest), at, y)}"/>`
  }${levelTicks(lowest, highest, step).map(
    (level) =>
      markup`<path class="grid" d="M${PLOT.left} ${px(y(level))}H${PLOT.right}"/><text class="axis end" x="${PLOT.left - 8}" y="${px(y(level) + 4)}">${printFigure(level, 0)}</text>`,
  )}<text class="axis end" x="${PLOT.left - 8}" y="${PLOT.top - 8}">dB</text><path class="ride" d="${linePath(ride.gainDb.low, at, y)}"/>`
}

function ceilingLane(report: DeliveryReport, x: (seconds: number) => number): Markup {
  const events = report.ceilingEvents
  const deepest = Math.max(0.1, ...events.map((event) => event.deepestDb))
  const length = scale(0, deepest, 3, CEILING_LANE.bottom - CEILING_LANE.top)
  const { top } = CEILING_LANE
  return markup`<text class="axis end" x="${PLOT.left - 8}" y="${top + 12}">ceiling</text><path class="grid" d="M${PLOT.left} ${top}H${PLOT.right}"/>${events.map(
    (event) => markup`<path class="ceiling" d="M${px(x(event.startSeconds))} ${top}v${px(length(event.deepestDb))}"/>`,
  )}${
    events.length === 0
      ? markup`<text class="axis" x="${PLOT.left + 8}" y="${top + 17}">did not act</text>`
      : markup`<text class="axis" x="${PLOT.right + 8}" y="${top + 12}">${events.length} ${events.length === 1 ? 'event' : 'events'}</text>`
  }`
}

function ruler(report: DeliveryReport, x: (seconds: number) => number): Markup {
  const { measurements, startOfDaySeconds } = report.source
  const y = CEILING_LANE.bottom + 4
  return markup`<path class="ruler" d="M${PLOT.left} ${y}H${PLOT.right}"/>${timeTicks(
    measurements.durationSeconds,
    startOfDaySeconds ?? 0,
  ).map(({ seconds, label }) => {
    const at = px(x(seconds))
    return markup`<path class="ruler" d="M${at} ${y}v5"/><text class="axis middle" x="${at}" y="${y + 19}">${label}</text>`
  })}`
}

/** The corner of the drawing, for the SVG element. */
export const RIDE_VIEW = `0 0 ${CHART_WIDTH} ${RIDE_HEIGHT}`

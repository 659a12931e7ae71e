import { type BandHistory, type DeliveryReport, printFigure, printTimes, type RideHistory } from '../domain/index.ts'
import { type Plot, scale, timeTicks } from './axes.ts'
import { areaPath, bandPath, linePath } from './curves.ts'
import { dialogueLanes } from './dialogue-lanes.ts'
import { type Across, type Lane, laneName, levelGrid, reductionLane } from './lane-marks.ts'
import { CHART_WIDTH } from './loudness-chart.ts'
import { type Markup, markup, px } from './markup.ts'

const LEFT = 58
const RIGHT = 852
const GAP = 30
const SHAPE_HEIGHT = 92
const RIDE_HEIGHT = 104
const LFE_HEIGHT = 68
const CEILING_HEIGHT = 26
const BAND_HEIGHT = 26
const OCTAVE_HEIGHT = 13
const RULER_HEIGHT = 28
/** How far below its highest place the short-term curve is drawn. */
const SHAPE_DEPTH_LU = 30
/** Room above and below the ride; the corridor may reach far beyond it. */
const ROOM_DB = 1
/** Octaves are drawn to this depth at least, so that little looks like little. */
const LEAST_OCTAVE_DEPTH_DB = 3
/** Of the lines of a caption inside a picture. */
const CAPTION_LINE = 16

type Touching = readonly { readonly startSeconds: number; readonly endSeconds: number; readonly rideDb: number }[]

type Drawing = { readonly width: number; readonly height: number; readonly drawing: Markup }

/** What was altered over time, one lane below the other on one ruler. */
export function alterationDrawing(report: DeliveryReport): Drawing {
  const x = scale(0, report.source.measurements.durationSeconds, LEFT, RIGHT)
  let top = GAP - 8
  const drawn = lanesOf(report).map(({ height, draw }) => {
    const plot = { left: LEFT, right: RIGHT, top, bottom: top + height }
    top += height + GAP
    return draw(plot, x)
  })
  const rulerY = top - GAP + 6
  return { width: CHART_WIDTH, height: rulerY + RULER_HEIGHT, drawing: markup`${drawn}${ruler(report, x, rulerY)}` }
}

/** The same with its caption below it, for a file that stands for itself. */
export function captionedAlteration(report: DeliveryReport): Drawing {
  const { width, height, drawing } = alterationDrawing(report)
  const sentences = alterationCaption(report)
  const caption = sentences.map(
    (sentence, index) => markup`<text class="lane" x="0" y="${height + (index + 1) * CAPTION_LINE}">${sentence}</text>`,
  )
  return { width, height: height + (sentences.length + 0.5) * CAPTION_LINE, drawing: markup`${drawing}${caption}` }
}

/** What is to be seen in each lane, a sentence each. */
export function alterationCaption(report: DeliveryReport): readonly string[] {
  return [...new Set(lanesOf(report).map(({ says }) => says))]
}

export function alterationInWords({ alteration }: DeliveryReport): string {
  const { ride, lfe, ceiling, octaves, dialogue } = alteration
  const rode =
    ride === null
      ? 'No ride.'
      : `The ride moves ${printFigure(ride.movementDb)} dB in all, ${printFigure(ride.movingShare * 100)} % of the time, and is forced at ${ride.touching.length} places.`
  const ofLfe = lfe === null ? '' : ` The LFE rides alone besides, by ${printFigure(lfe.largestMoveDb)} dB at most.`
  const capped =
    ceiling === null || ceiling.events === 0
      ? 'The ceiling did not act.'
      : `The ceiling acted ${printTimes(ceiling.events)}, by ${printFigure(ceiling.deepestDb)} dB at most.`
  const most = octaves?.removed.reduce((a, b) => ((b.removedDb ?? 0) > (a.removedDb ?? 0) ? b : a))
  const taken =
    most?.removedDb == null
      ? ''
      : ` Of the octave at ${octaveName(most.centreHz)}Hz most was taken, ${printFigure(most.removedDb)} dB.`
  const [before, after] = [dialogue?.overBackgroundBeforeLu ?? null, dialogue?.overBackgroundAfterLu ?? null]
  const spoken =
    before === null || after === null
      ? ''
      : ` Dialogue stands ${printFigure(before)} LU over its background before, ${printFigure(after)} LU after.`
  return `What was altered over time.${spoken} ${rode}${ofLfe} ${capped}${taken}`
}

function lanesOf(report: DeliveryReport): readonly Lane[] {
  const { ride, lfeRide, alteration, altered, history, dialogue, deliverables } = report
  const lane = (height: number, says: string, draw: Lane['draw']): Lane => ({ height, says, draw })
  return [
    ...(history.source === null || deliverables.length === 0
      ? []
      : [lane(SHAPE_HEIGHT, SAYS.shape, (plot, x) => shapeLane(report, plot, x))]),
    ...(dialogue === null ? [] : dialogueLanes(dialogue)),
    ...(ride === null ? [] : [lane(RIDE_HEIGHT, SAYS.ride, rideLane(ride, alteration.ride?.touching, 'ride'))]),
    ...(lfeRide === null
      ? []
      : [lane(LFE_HEIGHT, SAYS.lfe, rideLane(lfeRide, alteration.lfe?.touching, 'ride of', 'the LFE'))]),
    ...report.bands.map((band) => lane(BAND_HEIGHT, SAYS.bands, (plot, x) => bandLane(band, plot, x))),
    lane(CEILING_HEIGHT, SAYS.ceiling, (plot, x) => ceilingLane(report, plot, x)),
    ...(altered === null
      ? []
      : [
          lane(altered.octaves.length * OCTAVE_HEIGHT, SAYS.octaves, (plot, x) => octaveLane(report, altered, plot, x)),
        ]),
  ]
}

const SAYS = {
  shape: 'Short-term loudness: dotted under the static gain alone, drawn as delivered, tinted what was taken.',
  ride: 'Ride, in dB beside the static gain: the tint is its corridor, the brackets are where that forces it.',
  lfe: 'Ride of the LFE, in dB beside the other channels, none of which moves with it: its corridor and its brackets likewise.',
  bands: 'Bands: how far each was turned down.',
  ceiling: 'Ceiling: a stroke where it began to act, as long as it went deep; the shade is the mean of 100 ms.',
  octaves: 'Octaves: what each lost, hanging from its row.',
} as const

/** The short-term curve under the static gain alone, and as it was delivered; what lies between was taken. */
function shapeLane({ history, alteration }: DeliveryReport, plot: Plot, x: Across): Markup {
  const { columnSeconds, shortTermLkfs } = history.delivered
  const gainDb = alteration.total.staticGainDb
  const before = (history.source?.shortTermLkfs.high ?? []).map((level) => (level === null ? null : level + gainDb))
  const after = shortTermLkfs.high
  const highest = Math.ceil([...before, ...after].reduce<number>((most, level) => Math.max(most, level ?? most), -70))
  const lowest = highest - SHAPE_DEPTH_LU
  const y = scale(lowest, highest, plot.bottom, plot.top)
  const at = (column: number) => x((column + 0.5) * columnSeconds)
  const heard = (values: readonly (number | null)[]) =>
    values.map((level) => (level === null || level <= lowest ? null : level))
  return markup`${levelGrid(lowest, highest, 6, plot, y, 'LKFS')}<path class="taken" d="${bandPath(after, heard(before), at, y)}"/><path class="source" d="${linePath(heard(before), at, y)}"/><path class="edge" d="${linePath(heard(after), at, y)}"/>${laneName(plot, 'short-term')}`
}

function rideLane(ride: RideHistory, touching: Touching = [], ...name: readonly string[]): Lane['draw'] {
  const present = (values: readonly (number | null)[]) => values.filter((value) => value !== null)
  const highest = Math.max(0, ...present(ride.gainDb.high)) + ROOM_DB
  const lowest = Math.min(0, ...present(ride.gainDb.low)) - ROOM_DB
  const step = highest - lowest > 12 ? 6 : highest - lowest > 5 ? 2 : 1
  return (plot, x) => {
    const y = scale(lowest, highest, plot.bottom, plot.top)
    const at = (column: number) => x((column + 0.5) * ride.columnSeconds)
    const filled = (bound: readonly (number | null)[], missing: number) => bound.map((value) => value ?? missing)
    const corridor = ride.corridorDb
    const touches = touching.map(({ startSeconds, endSeconds, rideDb }) => {
      const from = x(startSeconds)
      const to = Math.max(from + 2, x(endSeconds))
      return markup`<path class="touch" d="M${px(from)} ${px(y(rideDb) - 9)}v5H${px(to)}v-5"/>`
    })
    return markup`${
      corridor === null
        ? null
        : markup`<path class="band bordered" d="${bandPath(filled(corridor.lowest, lowest), filled(corridor.highest, highest), at, y)}"/>`
    }${levelGrid(lowest, highest, step, plot, y, 'dB')}<path class="ride" d="${linePath(ride.gainDb.low, at, y)}"/>${touches}${laneName(plot, ...name)}`
  }
}

function bandLane({ name, columnSeconds, reductionDb }: BandHistory, plot: Plot, x: Across): Markup {
  return markup`${reductionLane(reductionDb.high, columnSeconds, plot, x)}${laneName(plot, name)}`
}

function ceilingLane(report: DeliveryReport, { left, right, top, bottom }: Plot, x: Across): Markup {
  const events = report.ceilingEvents
  const deepest = Math.max(0.1, ...events.map((event) => event.deepestDb))
  const length = scale(0, deepest, 3, bottom - top)
  const depth = scale(0, deepest, top, bottom)
  const { ceilingDb = [], columnSeconds = 0 } = report.altered ?? {}
  const held = ceilingDb.map((db) => (db > 0 ? db : null))
  const heldPath = areaPath(held, (column) => x((column + 0.5) * columnSeconds), depth, top)
  return markup`<text class="axis" x="${right + 8}" y="${top + 10}">ceiling</text><path class="grid" d="M${left} ${top}H${right}"/><path class="activity" d="${heldPath}"/>${events.map(
    (event) => markup`<path class="ceiling" d="M${px(x(event.startSeconds))} ${top}v${px(length(event.deepestDb))}"/>`,
  )}${
    events.length === 0
      ? markup`<text class="axis" x="${left + 8}" y="${top + 17}">did not act</text>`
      : markup`<text class="axis" x="${right + 8}" y="${top + 25}">${events.length} ${events.length === 1 ? 'event' : 'events'}</text><text class="axis end" x="${left - 8}" y="${px(bottom + 4)}">${printFigure(-deepest)}</text><path class="grid" d="M${left} ${bottom}H${right}"/>`
  }`
}

/** One row an octave, the lowest at the bottom; what was taken hangs from the top of its row. */
function octaveLane(
  { alteration }: DeliveryReport,
  { octaves, columnSeconds }: NonNullable<DeliveryReport['altered']>,
  plot: Plot,
  x: Across,
): Markup {
  const all = octaves.flatMap(({ removedDb }) => removedDb.map((db) => db ?? 0))
  const depthDb = Math.ceil(all.reduce((most, db) => Math.max(most, db), LEAST_OCTAVE_DEPTH_DB))
  const at = (column: number) => x((column + 0.5) * columnSeconds)
  const rows = octaves.map(({ centreHz, removedDb }, index) => {
    const top = plot.bottom - (index + 1) * OCTAVE_HEIGHT
    const y = scale(0, depthDb, top, top + OCTAVE_HEIGHT - 2)
    const taken = removedDb.map((db) => (db === null || db <= 0 ? null : db))
    const total = alteration.octaves?.removed.find((octave) => octave.centreHz === centreHz)?.removedDb ?? null
    return markup`<text class="lane end" x="${plot.left - 8}" y="${top + 9}">${octaveName(centreHz)}</text><path class="laid" d="M${plot.left} ${top}H${plot.right}"/><path class="activity" d="${areaPath(taken, at, y, top)}"/><text class="lane" x="${plot.right + 8}" y="${top + 9}">${total === null ? 'silent' : `${printFigure(-total)} dB`}</text>`
  })
  return markup`<text class="axis end" x="${plot.left - 8}" y="${plot.top - 7}">Hz</text><text class="axis" x="${plot.right + 8}" y="${plot.top - 7}">octaves</text>${rows}<text class="lane" x="${plot.left}" y="${plot.top - 7}">a row is ${printFigure(depthDb, 0)} dB deep</text>`
}

function octaveName(centreHz: number): string {
  return centreHz >= 1000 ? `${centreHz / 1000} k` : `${centreHz} `
}

function ruler(report: DeliveryReport, x: Across, y: number): Markup {
  const { measurements, startOfDaySeconds } = report.source
  return markup`<path class="ruler" d="M${LEFT} ${y}H${RIGHT}"/>${timeTicks(
    measurements.durationSeconds,
    startOfDaySeconds ?? 0,
  ).map(({ seconds, label }) => {
    const at = px(x(seconds))
    return markup`<path class="ruler" d="M${at} ${y}v5"/><text class="axis middle" x="${at}" y="${y + 19}">${label}</text>`
  })}`
}

import {
  type Clock,
  dbToPower,
  labelAt,
  type ProgrammeLanes,
  printFigure,
  type Role,
  readInstant,
} from '../domain/index.ts'
import { type Plot, scale, type TimeTick, timeTicks } from './axes.ts'
import { bandPath } from './curves.ts'
import { lanesDrawing, lanesHeight } from './lanes.ts'
import { type Markup, markup, px } from './markup.ts'

/** Everything that a picture of where an upmix put the energy draws. */
export type UpmixPicture = {
  readonly durationSeconds: number
  readonly sampleRateHz: number
  /** Null: time counts from the first frame. */
  readonly clock: Clock | null
  /** Of the 5.1; a channel that is silent throughout is left out. */
  readonly lanes: ProgrammeLanes
  readonly scenes: readonly {
    readonly name: string | null
    readonly startSeconds: number
    readonly endSeconds: number
  }[]
}

export const UPMIX_PICTURE_WIDTH = 960
const PLOT: Plot = { left: 58, right: 840, top: 46, bottom: 286 }
/** Below the lanes: the ruler and its labels. */
const FOOT = 30
const TOP = 12
const WHOLE = 100
const SHARE_STEP = 25

/** From the floor up. Tone and hatching tell them apart, and a name beside each: none by its colour alone. */
const PARTS: readonly { readonly name: string; readonly style: string; readonly roles: readonly Role[] }[] = [
  { name: 'centre', style: 'centre', roles: ['C'] },
  { name: 'fronts', style: 'fronts', roles: ['L', 'R'] },
  { name: 'surrounds', style: 'surrounds', roles: ['Ls', 'Rs'] },
]

/** What only this picture has, on top of what charts have. */
export const UPMIX_PICTURE_CSS = `
svg path.centre,svg rect.centre{fill:var(--ink);fill-opacity:.82}
svg path.fronts,svg rect.fronts{fill:var(--tide);fill-opacity:.3}
svg path.surrounds,svg rect.surrounds{fill:url(#behind)}
svg .behind{stroke:var(--ink);stroke-width:1.1}
svg .swatch{stroke:var(--slate);stroke-width:.8}
`

const HATCHING = markup`<defs><pattern id="behind" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="behind" d="M2.5 0v5"/></pattern></defs>`

/** How the energy of the five full-range channels is divided, in percent, in each column and over all of them. */
type Division = {
  /** Upper edge of each part in each column; null where nothing sounds. */
  readonly upTo: readonly (readonly (number | null)[])[]
  readonly meanPercent: readonly number[]
}

function divisionOf({ channels }: ProgrammeLanes): Division {
  const columnCount = Math.max(0, ...channels.map(({ levelLkfs }) => levelLkfs.length))
  const powers = PARTS.map(({ roles }) =>
    Array.from({ length: columnCount }, (_, column) =>
      channels
        .filter(({ role }) => roles.includes(role))
        .reduce((sum, { levelLkfs }) => sum + powerOf(levelLkfs[column] ?? null), 0),
    ),
  )
  const upToPart = (part: number, column: number) =>
    powers.slice(0, part + 1).reduce((sum, of) => sum + (of[column] as number), 0)
  const last = PARTS.length - 1
  const percent = (part: number, column: number) => {
    const all = upToPart(last, column)
    return all > 0 ? (WHOLE * upToPart(part, column)) / all : null
  }
  const sums = powers.map((of) => of.reduce((sum, power) => sum + power, 0))
  const all = sums.reduce((sum, power) => sum + power, 0)
  return {
    upTo: PARTS.map((_, part) => Array.from({ length: columnCount }, (__, column) => percent(part, column))),
    meanPercent: sums.map((power) => (all > 0 ? (WHOLE * power) / all : 0)),
  }
}

function powerOf(level: number | null): number {
  return level === null ? 0 : dbToPower(level)
}

/** Small shares with a decimal: surrounds are mostly among them. */
function printShare(percent: number): string {
  return printFigure(percent, percent < 9.95 ? 1 : 0)
}

/** What the picture shows, for those who cannot see it. */
export function upmixInWords({ lanes, scenes }: UpmixPicture): string {
  const { meanPercent } = divisionOf(lanes)
  const told = PARTS.map(({ name }, part) => `${name} ${printShare(meanPercent[part] as number)} %`)
  const marked = scenes.length === 1 ? '1 scene is' : `${scenes.length} scenes are`
  return `Where the energy of the upmix went over time. Over the whole programme: ${told.join(', ')}. ${marked} marked.`
}

export function upmixView({ lanes }: UpmixPicture): { readonly top: number; readonly height: number } {
  return { top: TOP, height: PLOT.bottom + lanesHeight(heardOf(lanes)) + FOOT - TOP }
}

/** The picture as the inside of an SVG as large as `upmixView` says. */
export function upmixDrawing(picture: UpmixPicture): Markup {
  const x = scale(0, picture.durationSeconds, PLOT.left, PLOT.right)
  const lanes = heardOf(picture.lanes)
  const division = divisionOf(lanes)
  return markup`${HATCHING}${stack(division, lanes.columnSeconds, x)}${grid()}${key(division)}${scenesDrawing(picture, x)}${lanesDrawing(lanes, PLOT, x)}<text class="lane" x="${PLOT.right + 8}" y="${PLOT.bottom + 16}">level, 48 dB high</text>${ruler(picture, x)}`
}

/** An LFE that nothing was sent to takes no lane. */
function heardOf(lanes: ProgrammeLanes): ProgrammeLanes {
  return { ...lanes, channels: lanes.channels.filter(({ levelLkfs }) => levelLkfs.some((level) => level !== null)) }
}

const percentY = scale(0, WHOLE, PLOT.bottom, PLOT.top)

function stack({ upTo }: Division, columnSeconds: number, x: (seconds: number) => number): readonly Markup[] {
  const at = (column: number) => x((column + 0.5) * columnSeconds)
  return PARTS.map(({ style }, part) => {
    const upper = upTo[part] as readonly (number | null)[]
    const lower = upTo[part - 1] ?? upper.map((value) => (value === null ? null : 0))
    return markup`<path class="${style}" d="${bandPath(lower, upper, at, percentY)}"/>`
  })
}

function grid(): Markup {
  const levels = Array.from({ length: WHOLE / SHARE_STEP + 1 }, (_, n) => n * SHARE_STEP)
  return markup`${levels.map((percent) => {
    const y = px(percentY(percent))
    return markup`<path class="grid" d="M${PLOT.left} ${y}H${PLOT.right}"/><text class="axis end" x="${PLOT.left - 8}" y="${y + 4}">${percent}${percent === WHOLE ? ' %' : ''}</text>`
  })}`
}

/** Room between two entries of the key. */
const KEY_STEP = 58

function key({ meanPercent }: Division): readonly Markup[] {
  const left = PLOT.right + 12
  return PARTS.map(({ name, style }, part) => {
    const top = PLOT.top + 4 + (PARTS.length - 1 - part) * KEY_STEP
    return markup`<rect class="${style} swatch" x="${left}" y="${top}" width="16" height="14"/><text x="${left + 23}" y="${top + 12}">${name}</text><text x="${left + 23}" y="${top + 29}"><tspan class="strong">${printShare(meanPercent[part] as number)}</tspan> % in all</text>`
  })
}

/** Average width of a character of a label. */
const CHARACTER_WIDTH = 6.6
const BRACKET_Y = PLOT.top - 4

function scenesDrawing({ scenes }: UpmixPicture, x: (seconds: number) => number): readonly Markup[] {
  return scenes.map(({ name, startSeconds, endSeconds }, index) => {
    const [from, to] = [x(startSeconds), x(endSeconds)]
    const words = name ?? String(index + 1)
    const shown = words.length * CHARACTER_WIDTH < to - from ? words : ''
    return markup`<path class="bracket" d="M${px(from + 0.7)} ${BRACKET_Y}v-7H${px(Math.max(from + 2, to - 0.7))}v7"/><text class="label" x="${px(from + 2)}" y="${BRACKET_Y - 12}">${shown}</text>`
  })
}

/** Ticks stand under whole seconds of the timecode where the programme has one. */
function ruler({ durationSeconds, sampleRateHz, clock, lanes }: UpmixPicture, x: (seconds: number) => number): Markup {
  const floor = PLOT.bottom + lanesHeight(heardOf(lanes))
  const ticks = clock === null ? timeTicks(durationSeconds, 0) : labelTicks(clock, durationSeconds, sampleRateHz)
  return markup`<path class="ruler" d="M${PLOT.left} ${floor}H${PLOT.right}"/>${ticks.map(({ seconds, label }) => {
    const at = px(x(seconds))
    return markup`<path class="ruler" d="M${at} ${floor}v6"/><text class="axis middle" x="${at}" y="${floor + 21}">${label}</text>`
  })}`
}

function labelTicks(clock: Clock, durationSeconds: number, sampleRateHz: number): readonly TimeTick[] {
  const [hours = 0, minutes = 0, seconds = 0] = labelAt(clock, 0).split(/[:;]/).map(Number)
  return timeTicks(durationSeconds, hours * 3600 + minutes * 60 + seconds).flatMap((tick) => {
    const [second, fraction] = tick.label.split('.') as [string, string?]
    const isWhole = fraction === undefined || Number(fraction) === 0
    const frame = isWhole ? frameUnder(clock, second) : Math.round(tick.seconds * sampleRateHz)
    if (frame === null || frame > durationSeconds * sampleRateHz) return []
    return [{ seconds: frame / sampleRateHz, label: labelAt(clock, frame) }]
  })
}

/** The frame at which a second of the timecode begins; drop-frame leaves out the first labels of most minutes. */
function frameUnder(clock: Clock, label: string): number | null {
  const first = readInstant(clock, `${label}:00`, clock.sampleRateHz)
  const frame =
    typeof first === 'number' || first.nearest === null ? first : readInstant(clock, first.nearest, clock.sampleRateHz)
  return typeof frame === 'number' ? frame : null
}

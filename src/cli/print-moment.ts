import {
  defaultSettings,
  type HeardSettings,
  type MadeBand,
  printFigure,
  printInstant,
  type SeenBand,
  UPMIX_PARAMETERS,
  type UpmixMoment,
} from '../domain/index.ts'
import type { Ruler } from './placed.ts'

/** What an upmix saw and did at a moment, as a mixer reads it: the settings in force, then a line for each third octave. */
export function printMoment(path: string, moment: UpmixMoment, ruler: Ruler): string {
  const { frame, startFrame, endFrame, isLtRt, azimuthMicroseconds, heard } = moment
  const ms = ((endFrame - startFrame) * 1000) / ruler.sampleRateHz
  return [
    `${path} at ${printInstant(ruler.clock, frame, ruler.sampleRateHz)}, ${printFigure(ms)} ms around it\n`,
    `  ${isLtRt ? 'decoded as Lt/Rt' : 'taken as stereo'}\n`,
    ...heard.map((one) => printHeard(one, heard.length > 1, ruler)),
    ...(azimuthMicroseconds === 0 || isLtRt ? [] : [`  ${printAzimuth(azimuthMicroseconds)}\n`]),
    printTable(moment),
  ].join('')
}

function printHeard({ scene, isScene, share, settings, saw }: HeardSettings, isGlide: boolean, ruler: Ruler): string {
  const name = scene === null ? (isScene ? 'a scene' : 'outside of scenes') : `scene "${scene}"`
  const heard = isGlide ? `, heard to ${percent(share)} % of its amplitude in a glide` : ''
  const changed = changedSettings(settings)
  const speech =
    saw.speech === null || saw.speech === 0
      ? []
      : [`    something in the middle speaks: ${percent(saw.speech)} % of surroundSpeechReject holds\n`]
  const onsets = saw.onsetFrames.map(
    (frame) =>
      `    a new sound begins at ${printInstant(ruler.clock, frame, ruler.sampleRateHz)}: what was before it is weighed apart\n`,
  )
  return [
    `  ${name}${heard}: ${changed.length === 0 ? 'default settings' : `${changed.join(' ')}, the rest by default`}\n`,
    ...speech,
    ...onsets,
  ].join('')
}

function changedSettings(settings: HeardSettings['settings']): readonly string[] {
  const usual = defaultSettings(UPMIX_PARAMETERS)
  return (Object.keys(UPMIX_PARAMETERS) as (keyof typeof settings)[])
    .filter((name) => settings[name] !== usual[name])
    .map((name) => `${name}=${settings[name]}${UPMIX_PARAMETERS[name].unit ?? ''}`)
}

function printAzimuth(microseconds: number): string {
  const late = microseconds > 0 ? 'right' : 'left'
  return `the ${late} track is ${printFigure(Math.abs(microseconds))} us late: followed`
}

type Column = {
  readonly head: string
  readonly unit: string
  readonly cells: number
  readonly print: (made: MadeBand, saw: SeenBand | undefined) => string
}

const BAND_AND_PLACE: readonly Column[] = [
  { head: '', unit: 'Hz', cells: 7, print: ({ midHz }) => (midHz === null ? 'all' : String(midHz)) },
  { head: 'master', unit: 'dBFS', cells: 9, print: ({ masterDbfs }) => printSum(masterDbfs.left, masterDbfs.right) },
  { head: 'stands', unit: 'at', cells: 9, print: (_, saw) => printSide(saw?.dominance ?? null) },
]

const OF_STEREO: readonly Column[] = [
  { head: 'common', unit: '%', cells: 9, print: (_, saw) => percent(saw?.common) },
  { head: 'diffuse', unit: '%', cells: 9, print: (_, saw) => percent(saw?.diffuseness) },
  { head: 'ducked', unit: 'dB', cells: 8, print: (_, saw) => (saw?.duckDb ? printFigure(saw.duckDb) : '') },
]

const OF_LT_RT: readonly Column[] = [
  { head: 'phase', unit: 'C, S', cells: 9, print: (_, saw) => printPhase(saw?.inPhase ?? null) },
]

const MADE: readonly Column[] = [
  {
    head: '|  centre',
    unit: '|       %',
    cells: 12,
    print: ({ shares }) => `|${percent(shares?.centre, 1).padStart(8)}`,
  },
  { head: 'fronts', unit: '%', cells: 9, print: ({ shares }) => percent(shares?.fronts, 1) },
  { head: 'surrounds', unit: '%', cells: 11, print: ({ shares }) => percent(shares?.surrounds, 1) },
]

function printTable({ isLtRt, heard, bands, total }: UpmixMoment): string {
  const saw = heard[0]?.saw
  const columns = [...BAND_AND_PLACE, ...(isLtRt ? OF_LT_RT : OF_STEREO), ...MADE]
  const line = (print: (column: Column) => string) =>
    `  ${columns.map((column) => print(column).padStart(column.cells)).join('')}`.trimEnd().concat('\n')
  return [
    line(({ head }) => head),
    line(({ unit }) => unit),
    ...bands.map((made, band) => line(({ print }) => print(made, saw?.bands[band]))),
    line(({ print }) => print(total, saw?.total)),
  ].join('')
}

/** The level of two signals together. */
function printSum(...levelsDbfs: readonly (number | null)[]): string {
  const power = levelsDbfs.reduce<number>((sum, db) => sum + (db === null ? 0 : 10 ** (db / 10)), 0)
  return power === 0 ? 'silent' : printFigure(10 * Math.log10(power))
}

/** Where a sound stands by the powers of left and right, e.g. `L 60`: 100 is one side alone. */
function printSide(dominance: number | null): string {
  if (dominance === null) return ''
  const size = Math.round(100 * Math.abs(dominance))
  return size === 0 ? 'middle' : `${dominance > 0 ? 'L' : 'R'} ${size}`
}

/** What an Lt/Rt tells of front and back, e.g. `C 80`: 100 is one of them alone. */
function printPhase(inPhase: number | null): string {
  if (inPhase === null) return ''
  const size = Math.round(100 * Math.abs(inPhase))
  return size === 0 ? '0' : `${inPhase > 0 ? 'C' : 'S'} ${size}`
}

function percent(share: number | null | undefined, decimals = 0): string {
  return share === null || share === undefined ? '' : printFigure(100 * share, decimals)
}

import { type Hum, printFigure } from '../../../domain/index.ts'
import { type ChannelEvidence, HARMONIC_COUNT, HUM_BASES, NUMBERS_PER_HARMONIC } from './evidence.ts'

/** A harmonic counts in a segment where it stands this far over its neighbourhood. */
const LEAST_OVER_DB = 8
/** Fainter lines are not looked at; hum whose strongest line lies below the second level is nobody's trouble. */
const FAINTEST_DBFS = -95
const FAINTEST_HUM_DBFS = -80
/** Segments agree on a harmonic within this. */
const LARGEST_SPREAD_DB = 3
/** Where the neighbourhood is this far below the hum it cannot hide: its lack there speaks against it. */
const PLAIN_UNDER_DB = 12
const LARGEST_CONTRADICTION = 0.2
/** Notes lie no nearer to 50 or 60 Hz than a semitone's half; mains hold their frequency within this (common practice). */
const LARGEST_DEVIATION_HZ = 0.12
/** One harmonic that is strong in several segments is hum, or two plain ones ... */
const STRONG_OVER_DB = 15
const HIGHEST_STRONG_HARMONIC = 3
const FEWEST_HARMONICS = 2
const FEWEST_SEGMENTS = 2
/** ... or three in a single one (25.6 s). Moved fundamentals lie nearer to notes and need three. */
const CERTAIN_HARMONICS = 3

type SteadyLine = {
  readonly number: number
  readonly hz: number
  readonly levelDbfs: number
  readonly overDb: number
  /** Segments that show it, and those in which it is strong. */
  readonly segmentCount: number
  readonly strongCount: number
}

export function humOf(segments: readonly ChannelEvidence[]): Hum | null {
  const found = HUM_BASES.flatMap((base, index) => {
    const lines = Array.from({ length: HARMONIC_COUNT }, (_, n) => steadyLine(segments, index, n + 1))
    const fitting = lines.filter((line) => line !== null)
    return isHum(fitting, base.speed !== null) ? [{ base, lines: fitting }] : []
  }).toSorted((a, b) => sum(b.lines) - sum(a.lines))[0]
  if (found === undefined) return null
  const { base, lines } = found
  const fundamentalHz = lines.reduce((total, { hz, number }) => total + hz / number, 0) / lines.length
  const strongest = lines.toSorted((a, b) => b.levelDbfs - a.levelDbfs)[0]!
  return {
    fundamentalHz,
    mainsHz: base.mainsHz,
    speed: base.speed,
    harmonics: lines.map(({ number, levelDbfs, overDb }) => ({ number, levelDbfs, overNeighbourhoodDb: overDb })),
    confidence: Math.min(0.95, 0.5 + 0.1 * (lines.length - 1) + 0.05 * (strongest.segmentCount - 1)),
    evidence: [
      `Steady lines at ${lines.map(({ hz }) => hz.toFixed(2)).join(', ')} Hz wherever it is quiet enough to hear them.`,
      `The strongest is ${printFigure(strongest.levelDbfs, 0)} dBFS, ${strongest.overDb.toFixed(0)} dB over its neighbourhood.`,
      ...(base.speed === null ? [] : [`${base.mainsHz} Hz mains lie there at a speed of ${base.speed}.`]),
    ],
  }
}

function sum(lines: readonly SteadyLine[]): number {
  return lines.reduce((total, { overDb }) => total + overDb, 0)
}

function isHum(lines: readonly SteadyLine[], isMoved: boolean): boolean {
  // A note and its overtones may lie at the higher multiples; hum is strong at the mains frequency or its double or triple.
  const strong = lines.filter(({ number, overDb }) => number <= HIGHEST_STRONG_HARMONIC && overDb >= STRONG_OVER_DB)
  if (strong.length === 0 || lines.every(({ levelDbfs }) => levelDbfs < FAINTEST_HUM_DBFS)) return false
  if (lines.length >= CERTAIN_HARMONICS) return true
  const lasting = lines.filter(({ segmentCount }) => segmentCount >= FEWEST_SEGMENTS)
  return (
    !isMoved &&
    (lasting.length >= FEWEST_HARMONICS ||
      strong.some(({ number, strongCount }) => number <= 2 && strongCount >= FEWEST_SEGMENTS))
  )
}

/** A harmonic that all segments show alike in which it cannot hide; null where they do not. */
function steadyLine(segments: readonly ChannelEvidence[], base: number, number: number): SteadyLine | null {
  const at = (base * HARMONIC_COUNT + number - 1) * NUMBERS_PER_HARMONIC
  const { mainsHz, ratio } = HUM_BASES[base]!
  const lines = segments
    .map(({ harmonics }) => ({ hz: harmonics[at]!, levelDbfs: harmonics[at + 1]!, overDb: harmonics[at + 2]! }))
    .filter(({ hz }) => hz > 0)
  const isThere = ({ hz, levelDbfs, overDb }: (typeof lines)[number]) =>
    overDb >= LEAST_OVER_DB &&
    levelDbfs >= FAINTEST_DBFS &&
    Math.abs(hz - number * mainsHz * ratio) <= LARGEST_DEVIATION_HZ * Math.max(1, number / 2)
  const plainest = lines.filter(isThere).toSorted((a, b) => b.overDb - a.overDb)[0]
  if (plainest === undefined) return null
  const { levelDbfs } = plainest
  const agrees = (line: (typeof lines)[number]) =>
    isThere(line) && Math.abs(line.levelDbfs - levelDbfs) <= LARGEST_SPREAD_DB
  const agreeing = lines.filter(agrees)
  const against = lines.filter((line) => !agrees(line) && line.levelDbfs - line.overDb <= levelDbfs - PLAIN_UNDER_DB)
  if (against.length > LARGEST_CONTRADICTION * agreeing.length) return null
  const strongCount = agreeing.filter(({ overDb }) => overDb >= STRONG_OVER_DB).length
  return { number, ...plainest, segmentCount: agreeing.length, strongCount }
}

// Every programme through the fit to every spec, and what other meters read of the file that was written.
import { existsSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { DeliveryReport, DeliverySpec } from '../../src/domain/index.ts'
import { fitFile } from '../../src/jobs/index.ts'
import { recording } from '../../test/testkit/inspected.ts'
import { byNumpy, readWavByFfmpeg, readWavByLibebur128, sha256 } from '../../test/testkit/outside.ts'
import { dialogueAgainstBackground, gainBetween, movesOf } from './ears.ts'
import { energiesOf, fileNameOf, type Prepared } from './prepared.ts'

/** Millidecibels are enough to keep. */
const rounded = (gainDb: Float64Array) => [...gainDb].map((db) => Math.round(db * 1000) / 1000)

/** What FFmpeg, libebur128 and, near the ceiling, SciPy at 16 times read of one file: the highest where several read it. */
type OutsideRead = {
  readonly totals: readonly [ffmpeg: number, libebur128: number]
  readonly maxShortTermLkfs: number
  readonly maxMomentaryLkfs: number
  readonly loudnessRangeLu: number
  readonly maxTruePeakDbtp: number
}

export type FitResult = {
  readonly programme: string
  readonly spec: string
  readonly conforms: boolean
  readonly passes: number
  /** Findings that fail, in the words of the report. */
  readonly failures: readonly string[]
  readonly places: readonly { readonly startSeconds: number; readonly endSeconds: number }[]
  readonly read: OutsideRead
  /** What is held against the target: the total as libebur128 reads it, or our reading of the dialogue. */
  readonly offTargetLu: number
  readonly isDialogueAnchored: boolean
  /** Lines of the spec that an outside meter finds missed, in words. */
  readonly missed: readonly string[]
  readonly ride: DeliveryReport['alteration']['ride']
  readonly ceiling: DeliveryReport['alteration']['ceiling']
  readonly movesInLines: readonly number[]
  readonly movesBeforeHits: readonly number[]
  readonly dialogueChanges: readonly number[]
  /** The gain between the energies of the source and of the file, ceiling included, in 10 ms. */
  readonly gainDb: readonly number[]
  /** The ride alone, relative to the static gain, in 10 ms; of programmes above two minutes the same as `gainDb`. */
  readonly rideDb: readonly number[]
  /** The bounds of the ride and where the detector heard dialogue, in columns of 100 ms; null where there is none or columns are wider. */
  readonly corridorDb: Corridor | null
  readonly heard: readonly number[] | null
}

type Corridor = { readonly lowest: readonly (number | null)[]; readonly highest: readonly (number | null)[] }

function missedLines(
  spec: DeliverySpec,
  read: OutsideRead,
  offTargetLu: number,
  isDialogueAnchored: boolean,
): string[] {
  const over = (name: string, value: number, limit: { value: number } | undefined) =>
    limit !== undefined && value > limit.value + READING_STEP ? [`${name} ${value.toFixed(2)} > ${limit.value}`] : []
  const { toleranceAboveLu, toleranceBelowLu } = spec.programmeLoudness
  const isOff = offTargetLu > toleranceAboveLu || offTargetLu < -toleranceBelowLu
  return [
    ...(isOff ? [`${isDialogueAnchored ? 'dialogue' : 'total'} ${offTargetLu.toFixed(2)} LU off`] : []),
    ...over('short-term', read.maxShortTermLkfs, spec.maxShortTermLkfs),
    ...over('momentary', read.maxMomentaryLkfs, spec.maxMomentaryLkfs),
    ...over('range', read.loudnessRangeLu, spec.maxLoudnessRangeLu),
    ...over('true peak', read.maxTruePeakDbtp, spec.maxTruePeakDbtp),
  ]
}

/** FFmpeg prints loudness to three decimals and rounds range to 0.01. */
const READING_STEP = 0.0051

/** Fits, reads and keeps the result, or gives back what was kept. */
export async function fitted(programme: Prepared, spec: DeliverySpec, folder: string): Promise<FitResult> {
  const stem = join(folder, `${fileNameOf(programme.recipe)}.${spec.id}`)
  const kept = `${stem}.json`
  if (existsSync(kept)) return JSON.parse(readFileSync(kept, 'utf8'))
  const out = `${stem}.wav`
  const nonconforming = `${stem}_nonconforming.wav`
  const { report } = await fitFile(programme.path, out, {
    spec,
    fit: {},
    bitsPerSample: 24,
    replaces: true,
    keepsNonconforming: true,
    workers: 1,
    speech: true,
  })
  const written = existsSync(nonconforming) ? nonconforming : out
  const result = judged(programme, spec, report, written)
  rmSync(written)
  writeFileSync(`${kept}.part`, JSON.stringify(result))
  renameSync(`${kept}.part`, kept)
  return result
}

function judged(programme: Prepared, spec: DeliverySpec, report: DeliveryReport, path: string): FitResult {
  const { read, gainDb } = writtenTo(path, programme)
  const delivered = report.deliverables[0]?.measurements
  const dialogue = delivered?.dialogueLoudnessLkfs ?? null
  const isDialogueAnchored = spec.anchor === 'dialogue' && dialogue !== null && (delivered?.dialogueShare ?? 0) >= 0.15
  const anchor = isDialogueAnchored ? dialogue : read.totals[1]
  const offTargetLu = anchor - spec.programmeLoudness.targetLkfs
  const failed = report.findings.filter(({ severity }) => severity === 'fail')
  const rideDb = gainDb.length > LONGEST_DRAWN_HOPS ? gainDb : rideOf(report, gainDb.length)
  const moves = movesOf(rideDb, programme)
  const { lanes } = report.history
  return {
    programme: programme.recipe.name,
    spec: spec.id,
    conforms: report.conforms,
    passes: report.passes,
    failures: failed.map(({ message }) => message),
    places: failed.flatMap(({ at }) => (at === null ? [] : [at])),
    read,
    offTargetLu,
    isDialogueAnchored,
    missed: missedLines(spec, read, offTargetLu, isDialogueAnchored),
    ride: report.alteration.ride,
    ceiling: report.alteration.ceiling,
    movesInLines: moves.inLines,
    movesBeforeHits: moves.beforeHits,
    dialogueChanges: dialogueAgainstBackground(gainDb, programme),
    gainDb: rounded(gainDb),
    rideDb: rounded(rideDb),
    corridorDb: report.ride !== null && isInHops(report.ride) ? report.ride.corridorDb : null,
    heard: lanes !== null && isInHops(lanes) ? lanes.dialogue : null,
  }
}

const isInHops = ({ columnSeconds }: { readonly columnSeconds: number }) => Math.abs(columnSeconds - 0.1) < 0.001

const CLOSE_DBTP = -3
/** The report draws the ride in at most 1200 columns: so far they are 100 ms wide. */
const LONGEST_DRAWN_HOPS = 120 * 100

type Written = { readonly read: OutsideRead; readonly gainDb: Float64Array }

/** Two specs may lead to the same bytes: then they are read once. */
const readings = new Map<string, Written>()

function writtenTo(path: string, programme: Prepared): Written {
  const hash = sha256(path)
  const kept = readings.get(hash)
  if (kept !== undefined) return kept
  const planes = recording(path, programme.recipe.layout === '5.1' ? 6 : 2)
  const fresh = { read: readOutside(path), gainDb: gainBetween(programme.mix10ms, energiesOf(planes)) }
  readings.set(hash, fresh)
  return fresh
}

function readOutside(path: string): OutsideRead {
  const ffmpeg = readWavByFfmpeg(path)
  const library = readWavByLibebur128(path)
  const truePeak = Math.max(ffmpeg.maxTruePeakDbtp, library.maxTruePeakDbtp)
  return {
    totals: [ffmpeg.programmeLoudnessLkfs, library.programmeLoudnessLkfs],
    maxShortTermLkfs: ffmpeg.maxShortTermLkfs,
    maxMomentaryLkfs: ffmpeg.maxMomentaryLkfs,
    loudnessRangeLu: ffmpeg.loudnessRangeLu,
    // Where these two stand far below every ceiling, a third has nothing to add.
    maxTruePeakDbtp: truePeak < CLOSE_DBTP ? truePeak : Math.max(truePeak, byNumpy('sixteenfold', path).dbtp ?? 0),
  }
}

/** The ride of a report on the grid of 10 ms, which has a column for each 100 ms. */
function rideOf({ ride }: DeliveryReport, length: number): Float64Array {
  const gainDb = new Float64Array(length)
  if (ride === null) return gainDb
  const columns = ride.gainDb.low
  const hops = Math.round(ride.columnSeconds * 100)
  return gainDb.map((_, i) => {
    const at = Math.min(columns.length - 1, Math.max(0, (i + 0.5) / hops - 0.5))
    const before = Math.floor(at)
    const after = Math.min(before + 1, columns.length - 1)
    return (columns[before] ?? 0) + (at - before) * ((columns[after] ?? 0) - (columns[before] ?? 0))
  })
}

import type { Clock, DeliverySpec, Finding, LayoutName, LoudnessFigures, Passage } from '../domain/index.ts'
import { type Progress, passagesOfProgramme } from '../engine/index.ts'
import { leftOut } from './left-out.ts'
import { PassageExports, refuseSamePlace } from './passage-exports.ts'
import { passagesSheet } from './passages-sheet.ts'
import { ScratchFolder } from './scratch.ts'
import { SingleOutput } from './single-output.ts'
import { programmeOf, refuseChanged } from './source.ts'
import { breaksOf, inputsOf, nameTitle, openTitle, specOrRefusal, type TitleOptions } from './title.ts'
import { trimsCounted } from './trims-counted.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

/** Share of the time that searching takes where a copy of the source is written too; only the progress line depends on it. */
const SEARCHING_BESIDE_COPYING = 0.85

export type PassagesOptions = JobOptions &
  TitleOptions & {
    /** The spec as it was named: the name of a preset, or a path; absent: the sheet names it. */
    readonly specName?: string | undefined
    /** A sheet to write that has the suggested trims in it. */
    readonly sheet?: string | undefined
    /** Files to export to; the endings choose the formats. */
    readonly exports: readonly string[]
    readonly replaces: boolean
  }

/** Where one file is too loud or too soft for a spec. */
export type PassagesOfFile = {
  readonly path: string
  readonly spec: DeliverySpec
  readonly layout: LayoutName
  readonly sampleRateHz: number
  readonly frameCount: number
  readonly clock: Clock | null
  readonly programmeLoudnessLkfs: number | null
  /** The figures without the trims of the sheet; null where it has none. */
  readonly withoutTrims: LoudnessFigures | null
  readonly conforms: boolean
  readonly passages: readonly Passage[]
  readonly findings: readonly Finding[]
}

/** Measures one file, or the programme of a sheet, against a spec, finds the passages worth going back to, and exports them. */
export async function findPassages(
  path: string,
  options: PassagesOptions,
  progress?: (progress: Progress) => void,
): Promise<PassagesOfFile> {
  using scratch = new ScratchFolder()
  const { sheet: sheetPath, specName, signal } = options
  refuseSamePlace([...options.exports, ...(sheetPath === undefined ? [] : [sheetPath])])
  const named = await nameTitle([path])
  const places = { replaces: options.replaces, sources: inputsOf(named) }
  using outputs = new PassageExports(options.exports, places)
  using sheet = sheetPath === undefined ? null : new SingleOutput(sheetPath, places)
  const title = await openTitle(named, () => scratch.path, options)
  const { source, placed } = title
  const spec = specOrRefusal(title)
  outputs.refuseUnfit(source)
  const programme = {
    ...programmeOf(source),
    programme: title.programme,
    breaks: breaksOf(placed.segments),
    trims: placed.gains,
  }
  const listens = isListening(options)
  const searching = outputs.copyCount === 0 ? 1 : SEARCHING_BESIDE_COPYING
  const told = (told: Progress) => progress?.({ ...told, share: told.share * searching })
  const { passages, measurements, judgement, withoutTrims } = await withCrew(source, { ...options, listens }, (crew) =>
    passagesOfProgramme(crew, programme, spec, { progress: told }, listens),
  )
  refuseChanged(source)
  if (sheet !== null) {
    const { path: writtenTo } = sheet
    sheet.writeText(await passagesSheet(title, passages, { ...options, sheetPath: writtenTo, specName, signal }))
  }
  await outputs.write(source, passages, {
    cancellation: signal,
    progress: (share) => progress?.({ stage: 'write', share: searching + share * (1 - searching) }),
  })
  sheet?.place()
  const findings = [
    ...source.findings,
    ...leftOut(placed.segments, source, 'the sheet'),
    ...trimsCounted(placed.gains.length, withoutTrims),
    ...judgement.findings,
  ]
  return {
    path,
    spec,
    layout: source.layout,
    sampleRateHz: source.format.sampleRateHz,
    frameCount: source.frameCount,
    clock: source.clock,
    programmeLoudnessLkfs: measurements.programmeLoudnessLkfs,
    withoutTrims,
    conforms: findings.every((finding) => finding.severity !== 'fail'),
    passages,
    findings,
  }
}

import { basename } from 'node:path'
import {
  type DeliverySpec,
  defaultSettings,
  FIT_PARAMETERS,
  type FileProblem,
  type FitSettings,
  type FrameRange,
  gainSpan,
  type MixerGain,
  type PlacedSheet,
  type ProgrammeSegment,
  placeSheet,
  type Sheet,
  type SheetTrim,
  specForTitle,
  type UpmixPlan,
  type UpmixSettings,
  upmixOfSheet,
} from '../domain/index.ts'
import { type DeliveryOrder, titleIdOf } from '../engine/index.ts'
import { type ChannelOptions, sha256Of } from '../media/index.ts'
import type { TimecodeOptions } from './clock.ts'
import { leftOut } from './left-out.ts'
import { openProgramme, type ReelOrder, reelRanges } from './reels.ts'
import { refuse } from './refusals.ts'
import { besideSheet, isSheet, readSheet, type SheetOnDisk, sheetRefusal } from './sheet.ts'
import { type OpenedSource, orderedSource } from './source.ts'
import { loadSpec } from './specs.ts'

/** A title as it was named: by its sheet, or by nothing but its file or reels. */
export type NamedTitle = { readonly onDisk: SheetOnDisk | null; readonly reels: readonly ReelOrder[] }

/** What is said where a title is used; it outranks the sheet. */
export type TitleOptions = ChannelOptions &
  TimecodeOptions & {
    readonly spec?: DeliverySpec | undefined
    /** Id of starting settings, in place of the sheet's. */
    readonly upmixStart?: string | undefined
    readonly upmix?: Partial<UpmixSettings> | undefined
    readonly fit?: Partial<FitSettings> | undefined
    /** Added to those of the sheet. */
    readonly trims?: readonly SheetTrim[] | undefined
    readonly signal?: AbortSignal | undefined
    /** How files are hashed: where not said, all of their bytes are read. */
    readonly hashOf?: HashOf | undefined
    /** Its source, where that was opened already. */
    readonly opened?: OpenedSource | undefined
  }

/** SHA-256 of a file as 64 hex digits. */
export type HashOf = (path: string, signal?: AbortSignal) => Promise<string>

export const hashOnce: HashOf = (path, cancellation) => sha256Of(path, { cancellation })

/** A title with everything found that it names: opened, checked and laid on its frames. */
export type Title = {
  readonly source: OpenedSource
  readonly sheet: Sheet | null
  /** Where the sheet lies, which its paths are relative to. */
  readonly sheetPath: string | null
  readonly spec: DeliverySpec | null
  readonly upmix: UpmixPlan
  readonly fit: FitSettings
  readonly placed: PlacedSheet
  /** The stretches that are measured and fitted; absent: all of one file. */
  readonly programme: readonly FrameRange[] | undefined
}

/** Reads what a title consists of; several paths are reels of one programme. */
export async function nameTitle(paths: readonly string[]): Promise<NamedTitle> {
  const sheetPath = paths.find(isSheet)
  if (sheetPath === undefined) return { onDisk: null, reels: paths.map((path) => ({ path })) }
  if (paths.length > 1) {
    throw refuse('JOBS_REELS_DIFFER', `join "${sheetPath}" to other reels`, 'a sheet, which names its own reels')
  }
  const onDisk = await readSheet(sheetPath)
  const reels = onDisk.sheet.sources.map(({ path, layout, order }) => ({
    path: besideSheet(sheetPath, path),
    layout: (layout ?? undefined) as ChannelOptions['layout'],
    order: (order ?? undefined) as ChannelOptions['order'],
  }))
  return { onDisk, reels }
}

/** Every file that a title is made from: none of them is ever written to. */
export function inputsOf({ onDisk, reels }: NamedTitle): readonly string[] {
  return [...(onDisk === null ? [] : [onDisk.path]), ...reels.map(({ path }) => path)]
}

/** Opens a title. Refuses what cannot be found, does not match its hash, or cannot be laid on the frames. */
export async function openTitle(
  { onDisk, reels }: NamedTitle,
  scratchFolder: () => string,
  options: TitleOptions,
): Promise<Title> {
  const { layout, order, signal } = options
  const told = reels.map((reel) => ({
    path: reel.path,
    layout: layout ?? reel.layout,
    order: order ?? reel.order,
  }))
  const source = options.opened ?? (await openProgramme(told, scratchFolder, timecodeOf(onDisk, options), signal))
  if (onDisk !== null) await refuseOtherFiles(onDisk, options)
  const sheet = onDisk?.sheet ?? null
  const placed = placeTitle(onDisk, source, options.trims ?? [])
  return {
    source,
    sheet,
    sheetPath: onDisk?.path ?? null,
    spec: options.spec ?? (onDisk === null ? null : await specOf(onDisk)),
    upmix: upmixOfSheet(
      sheet,
      placed.scenes,
      { sampleRateHz: source.format.sampleRateHz, frameCount: source.frameCount },
      { start: options.upmixStart, settings: options.upmix },
    ),
    fit: { ...defaultSettings(FIT_PARAMETERS), ...sheet?.fit.settings, ...options.fit },
    placed,
    programme: programmeRanges(source, placed.segments),
  }
}

/** What the fit must know of the mixer's word, as the engine takes it. */
export function askedOf({
  source,
  placed,
  programme,
}: Title): Pick<DeliveryOrder, 'trims' | 'locks' | 'limits' | 'programme' | 'breaks'> {
  const { gains, locks, limits } = placed
  const { sampleRateHz } = source.format
  return {
    trims: gains,
    locks: locks.map((lock) => ({
      startSeconds: lock.startFrame / sampleRateHz,
      endSeconds: lock.endFrame / sampleRateHz,
      // What a trim takes of a lock's tolerance, the ride no longer has.
      toleranceDb: lock.toleranceDb - Math.max(0, ...gains.filter(overlaps(lock)).map(furthestDb)),
    })),
    limits: limits.map(({ startFrame, endFrame, lowestDb, highestDb }) => ({
      startSeconds: startFrame / sampleRateHz,
      endSeconds: endFrame / sampleRateHz,
      lowestDb,
      highestDb,
    })),
    programme,
    breaks: breaksOf(placed.segments),
  }
}

function furthestDb(gain: MixerGain): number {
  const { lowestDb, highestDb } = gainSpan(gain)
  return Math.max(-lowestDb, highestDb)
}

/** The stretches that ought to be silent. */
export function breaksOf(segments: readonly ProgrammeSegment[]): readonly FrameRange[] {
  return segments.filter(({ kind }) => kind === 'break')
}

/**
 * The source of a delivery: with the date that the sheet gives, and a note of what is left out of the measurement.
 * @param sha256 where it is computed already
 */
export function orderedTitle(
  title: Title,
  signal: AbortSignal | undefined,
  sha256: Promise<string> | null = null,
): DeliveryOrder['source'] {
  const { source, sheet, placed } = title
  const ordered = orderedSource(source, signal, sha256)
  return {
    ...ordered,
    originatedOn: sheet?.title.deliveredOn ?? ordered.originatedOn,
    findings: [...ordered.findings, ...leftOut(placed.segments, source, 'the sheet')],
  }
}

/** How a title is called; `asked` outranks the sheet, which outranks the name of the file. */
export function identityOf({ sheet, source }: Pick<Title, 'sheet' | 'source'>, asked?: string): DeliveryOrder['title'] {
  const id = asked === undefined ? (sheet?.title.id ?? titleIdOf(basename(source.path))) : titleIdOf(asked)
  if (sheet === null) return { id, name: asked === undefined ? source.titleId : id }
  const { name, language } = sheet.title
  return { id, name, ...(language !== null && { language }) }
}

/** The spec of a title, or the refusal that asks for one. */
export function specOrRefusal({ spec, source }: Title): DeliverySpec {
  if (spec !== null) return spec
  throw refuse('JOBS_SPEC_MISSING', `fit "${source.path}"`, 'no spec named')
}

/** The programme segments, cut where a reel ends; absent where all of one file is programme. */
export function programmeRanges(
  source: OpenedSource,
  segments: readonly ProgrammeSegment[],
): readonly FrameRange[] | undefined {
  if (segments.length === 0 && source.reels.length === 0) return undefined
  const programme = segments.filter(({ kind }) => kind === 'programme')
  const stretches = segments.length === 0 ? [{ startFrame: 0, endFrame: source.frameCount }] : programme
  return stretches.flatMap((stretch) =>
    reelRanges(source).flatMap((reel) => {
      const startFrame = Math.max(stretch.startFrame, reel.startFrame)
      const endFrame = Math.min(stretch.endFrame, reel.endFrame)
      return startFrame < endFrame ? [{ startFrame, endFrame }] : []
    }),
  )
}

function overlaps(a: FrameRange): (b: FrameRange) => boolean {
  return (b) => a.startFrame < b.endFrame && b.startFrame < a.endFrame
}

function timecodeOf(onDisk: SheetOnDisk | null, options: TimecodeOptions): TimecodeOptions {
  const { timecodeRate, timecodeStart, dropFrame } = options
  const inSheet = onDisk?.sheet.timecode ?? null
  return {
    timecodeRate: timecodeRate ?? inSheet?.rate,
    timecodeStart: timecodeStart ?? inSheet?.start,
    dropFrame: dropFrame ?? inSheet?.dropFrame,
  }
}

function placeTitle(onDisk: SheetOnDisk | null, source: OpenedSource, more: readonly SheetTrim[]): PlacedSheet {
  const nothing = { settings: {}, trims: [], locks: [], start: null, scenes: [] }
  const { segments, picture, fit, upmix } = onDisk?.sheet ?? { segments: [], fit: nothing, upmix: nothing }
  const sheet = {
    ...(picture !== undefined && { picture }),
    segments,
    upmix,
    fit: { ...fit, trims: [...fit.trims, ...more] },
  }
  // Without timecode of its own a sheet counts from the first frame, whatever the file says.
  const clock = onDisk !== null && onDisk.sheet.timecode === null ? null : source.clock
  const { frameCount, format } = source
  const placed = placeSheet(sheet, { clock, sampleRateHz: format.sampleRateHz, frameCount })
  if (!isProblems(placed)) return placed
  if (onDisk !== null) throw sheetRefusal(onDisk.path, placed)
  const [{ found, needed, nearest }] = placed as [FileProblem]
  throw refuse('JOBS_TRIM_PLACE', `trim "${source.path}"`, found, {
    wanted: needed,
    remedy: nearest === null ? undefined : `The nearest is ${nearest}.`,
  })
}

function isProblems(placed: PlacedSheet | readonly FileProblem[]): placed is readonly FileProblem[] {
  return Array.isArray(placed)
}

async function refuseOtherFiles(
  { path, sheet }: SheetOnDisk,
  { signal, hashOf = hashOnce }: Pick<TitleOptions, 'signal' | 'hashOf'>,
): Promise<void> {
  for (const source of sheet.sources) {
    if (source.sha256 === null) continue
    const sha256 = await hashOf(besideSheet(path, source.path), signal)
    if (sha256.startsWith(source.sha256)) continue
    throw refuse('JOBS_SOURCE_HASH', `use "${source.path}"`, `a file whose SHA-256 is ${sha256}`, {
      wanted: `the file that the sheet was made for, ${source.sha256}`,
    })
  }
}

async function specOf({ path, sheet }: SheetOnDisk): Promise<DeliverySpec | null> {
  if (sheet.spec === null) return null
  const { id, path: specPath, edition, override } = sheet.spec
  const spec = await loadSpec(specPath === null ? (id as string) : besideSheet(path, specPath))
  if (edition !== null && edition !== spec.edition) {
    const found = `"${edition}", another edition of ${spec.title} than the one at hand`
    throw sheetRefusal(path, [{ path: 'spec.edition', found, needed: `"${spec.edition}"`, nearest: spec.edition }])
  }
  return specForTitle(spec, sheet.title.name, override, sheet.waivers)
}

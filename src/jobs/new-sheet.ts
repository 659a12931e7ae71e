import { dirname, relative, resolve } from 'node:path'
import {
  clockFromLabel,
  endLabel,
  labelAt,
  type ProposedSegment,
  printInstant,
  type Sheet,
  type SheetGround,
  type SheetSegment,
} from '../domain/index.ts'
import { inspectProgramme, type Progress } from '../engine/index.ts'
import { sha256Of } from '../media/index.ts'
import { findSpec } from '../specs/index.ts'
import { ScratchFolder } from './scratch.ts'
import { SingleOutput } from './single-output.ts'
import { programmeOf } from './source.ts'
import { identityOf, nameTitle, openTitle, type TitleOptions } from './title.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

/**
 * Writes a sheet to start from: the files with their hashes, the timecode, and the map that is found in the sound where
 * more than programme lies on them. Gives the sheet back.
 */
export async function writeNewSheet(
  paths: readonly string[],
  outPath: string,
  options: JobOptions & TitleOptions & { readonly specName?: string | undefined; readonly replaces: boolean },
  progress?: (progress: Progress) => void,
): Promise<Sheet> {
  using scratch = new ScratchFolder()
  using output = new SingleOutput(outPath, { replaces: options.replaces, sources: paths })
  const title = await openTitle(await nameTitle(paths), () => scratch.path, options)
  const { source } = title
  const listens = isListening(options)
  const watch = progress === undefined ? {} : { progress }
  const { inspection } = await withCrew(source, { ...options, listens }, (crew) =>
    inspectProgramme(crew, programmeOf(source), watch, listens),
  )
  const { clock, frameCount, format } = source
  // A sheet names the start by its label, so its clock begins with a whole picture.
  const ruler = clock === null ? null : clockFromLabel(clock.format, clock.startPicture, clock.sampleRateHz)
  const ground = { clock: ruler, frameCount, sampleRateHz: format.sampleRateHz }
  const beside = (path: string) => relative(dirname(resolve(outPath)), resolve(path))
  const { id, name } = identityOf(title)
  const files = source.reels.length === 0 ? [source] : source.reels
  const sheet: Sheet = {
    title: { id, name, language: null, deliveredOn: null },
    timecode: ruler === null ? null : { ...ruler.format, start: labelAt(ruler, 0) },
    sources: await Promise.all(
      files.map(async ({ path, layout }) => ({
        path: beside(path),
        layout,
        order: options.order ?? null,
        sha256: await sha256Of(path, { cancellation: options.signal }),
      })),
    ),
    segments: mapOf(inspection.structure.segments, ground),
    spec: options.specName === undefined ? null : namedSpec(options.specName, beside),
    upmix: { start: options.upmixStart ?? null, settings: {}, scenes: [] },
    fit: { settings: {}, trims: [], locks: [] },
    waivers: [],
    deliverables: [],
  }
  const { sheetJson } = await import('../protocol/index.ts')
  output.writeText(sheetJson(sheet))
  output.place()
  return sheet
}

function namedSpec(nameOrPath: string, beside: (path: string) => string): NonNullable<Sheet['spec']> {
  const isPreset = findSpec(nameOrPath) !== null
  return { id: isPreset ? nameOrPath : null, path: isPreset ? null : beside(nameOrPath), edition: null, override: {} }
}

/** The map as a sheet holds it; none where all that sounds is programme. */
function mapOf(found: readonly ProposedSegment[], ground: SheetGround): readonly SheetSegment[] {
  const { clock, sampleRateHz, frameCount } = ground
  const print = (frame: number) => (frame === frameCount ? endLabel(ground) : printInstant(clock, frame, sampleRateHz))
  const segments = found.flatMap(({ kind, name, startFrame, endFrame }) => {
    const [from, to] = [print(startFrame), print(endFrame)]
    return kind === 'silence' || from === to ? [] : [{ kind, name, from, to }]
  })
  const isMap = segments.some(({ kind }) => kind !== 'programme') && segments.some(({ kind }) => kind === 'programme')
  return isMap ? segments : []
}

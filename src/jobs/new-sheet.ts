import {
  endLabel,
  type ProposedSegment,
  printInstant,
  type Sheet,
  type SheetGround,
  type SheetSegment,
} from '../domain/index.ts'
import { inspectProgramme, type Progress } from '../engine/index.ts'
import { freshSheet, sheetClock } from './fresh-sheet.ts'
import { ScratchFolder } from './scratch.ts'
import { SingleOutput } from './single-output.ts'
import { programmeOf } from './source.ts'
import { nameTitle, openTitle, type TitleOptions } from './title.ts'
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
  const { frameCount, format } = source
  const fresh = await freshSheet(title, outPath, options)
  const ground = { clock: sheetClock(source), frameCount, sampleRateHz: format.sampleRateHz }
  const sheet: Sheet = {
    ...fresh,
    segments: mapOf(inspection.structure.segments, ground),
    upmix: { ...fresh.upmix, start: options.upmixStart ?? null },
  }
  const { sheetJson } = await import('../protocol/index.ts')
  output.writeText(sheetJson(sheet))
  output.place()
  return sheet
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

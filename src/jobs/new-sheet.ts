import {
  endLabel,
  type Inspection,
  type ProposedSegment,
  printInstant,
  readSource,
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

/** A sheet that was written, and why its sources are called what they are; empty where they are called nothing. */
export type NewSheet = { readonly sheet: Sheet; readonly kindEvidence: readonly string[] }

/**
 * Writes a sheet to start from: the files with their hashes, that they are Lt/Rt where that is certain, the timecode, and
 * the map that is found in the sound where more than programme lies on them. Gives the sheet back.
 */
export async function writeNewSheet(
  paths: readonly string[],
  outPath: string,
  options: JobOptions & TitleOptions & { readonly specName?: string | undefined; readonly replaces: boolean },
  progress?: (progress: Progress) => void,
): Promise<NewSheet> {
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
  const matrix = matrixEvidence(inspection)
  const sheet: Sheet = {
    ...fresh,
    sources: matrix === null ? fresh.sources : fresh.sources.map((file) => ({ ...file, kind: 'lt-rt' })),
    segments: mapOf(inspection.structure.segments, ground),
    upmix: { ...fresh.upmix, start: options.upmixStart ?? null },
  }
  const { sheetJson } = await import('../protocol/index.ts')
  output.writeText(sheetJson(sheet))
  output.place()
  return { sheet, kindEvidence: matrix ?? [] }
}

/** Why two tracks are Lt/Rt; null where they are not, or where the mixer should say so himself. */
function matrixEvidence({ twoTrack }: Inspection): readonly string[] | null {
  if (twoTrack === null) return null
  const { kind, isDoubtful, evidence } = readSource(twoTrack)
  return kind === 'lt-rt' && !isDoubtful ? evidence : null
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

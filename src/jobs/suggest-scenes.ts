import {
  type Clock,
  CUSTOMARY_UPMIX_GLIDE_MS,
  decodesMatrix,
  endLabel,
  type Finding,
  findUpmixStart,
  printInstant,
  type Sheet,
  type SheetScene,
  type SuggestedScene,
  sceneSettings,
} from '../domain/index.ts'
import { type Progress, READ_BESIDE_SCENES, scenesOfProgramme } from '../engine/index.ts'
import { sheetJson } from '../protocol/index.ts'
import { freshSheet, pathBeside, sheetClock } from './fresh-sheet.ts'
import { readTracks } from './read-tracks.ts'
import { ScratchFolder } from './scratch.ts'
import { besideSheet } from './sheet.ts'
import { SingleOutput } from './single-output.ts'
import { programmeOf } from './source.ts'
import { inputsOf, nameTitle, openTitle, type Title, type TitleOptions } from './title.ts'
import { twoTrack } from './two-track.ts'
import { type JobOptions, withCrew } from './with-crew.ts'

/** Scenes for an upmix, and the programme in which they lie. */
export type SuggestedScenes = {
  readonly scenes: readonly SuggestedScene[]
  readonly sampleRateHz: number
  readonly clock: Clock | null
  readonly findings: readonly Finding[]
  /** What a sheet would say: the same scenes, and the starting settings of the whole title. */
  readonly written: Pick<Sheet['upmix'], 'start' | 'scenes'>
}

/**
 * Finds the scenes of a two-track file, or of the title of a sheet, and writes a sheet with them where one is asked for:
 * a new one, or the title's own with these scenes in place of its own.
 */
export async function suggestUpmixScenes(
  path: string,
  options: JobOptions & TitleOptions & { readonly sheet?: string | undefined; readonly replaces: boolean },
  progress?: (progress: Progress) => void,
): Promise<SuggestedScenes> {
  using scratch = new ScratchFolder()
  const named = await nameTitle([path])
  const outputs = { replaces: options.replaces, sources: inputsOf(named) }
  using output = options.sheet === undefined ? null : new SingleOutput(options.sheet, outputs)
  const title = await openTitle(named, () => scratch.path, options)
  const source = await twoTrack(title.source, options)
  const places = { source: source.location }
  const work = { ...options, listens: true }
  const { found, findings, isLtRt } = await withCrew(
    source,
    work,
    async (crew) => {
      const { settings } = title.upmix
      const way = { scratchFolder: () => scratch.path, listens: false, progress, share: READ_BESIDE_SCENES }
      const { reading, findings } = await readTracks(source, settings, crew, places, way)
      const isLtRt = decodesMatrix(settings, reading)
      const programme = { ...programmeOf(source), layout: '2.0' } as const
      const watch = progress === undefined ? {} : { progress }
      return { found: await scenesOfProgramme(crew, programme, isLtRt, watch), findings, isLtRt }
    },
    places,
  )
  const scenes = withinProgramme(found, title)
  const start = options.upmixStart ?? title.sheet?.upmix.start ?? (isLtRt ? 'archive-lt-rt' : null)
  const written = { start, scenes: sheetScenes(title, scenes) }
  if (output !== null) {
    output.writeText(await sheetWith(title, written, output.path, options))
    output.place()
  }
  return { scenes, sampleRateHz: source.format.sampleRateHz, clock: source.clock, findings, written }
}

/** Scenes lie in programme; what reaches over its edges is cut there. */
function withinProgramme(scenes: readonly SuggestedScene[], { programme }: Title): readonly SuggestedScene[] {
  if (programme === undefined) return scenes
  return scenes.flatMap((scene) =>
    programme.flatMap((part) => {
      const startFrame = Math.max(scene.startFrame, part.startFrame)
      const endFrame = Math.min(scene.endFrame, part.endFrame)
      return startFrame < endFrame ? [{ ...scene, startFrame, endFrame }] : []
    }),
  )
}

function sheetScenes({ source, sheet }: Title, scenes: readonly SuggestedScene[]): readonly SheetScene[] {
  const clock = sheet !== null && sheet.timecode === null ? null : sheetClock(source)
  const ground = { clock, sampleRateHz: source.format.sampleRateHz, frameCount: source.frameCount }
  const print = (frame: number) =>
    frame === ground.frameCount ? endLabel(ground) : printInstant(clock, frame, ground.sampleRateHz)
  return scenes
    .map(({ startFrame, endFrame, name, start, reason }) => ({
      name,
      from: print(startFrame),
      to: print(endFrame),
      glideInMs: CUSTOMARY_UPMIX_GLIDE_MS,
      glideOutMs: CUSTOMARY_UPMIX_GLIDE_MS,
      reason: `${findUpmixStart(start)?.title}: ${reason}`,
      settings: sceneSettings(findUpmixStart(start)?.settings ?? {}),
    }))
    .filter(({ from, to }) => from !== to)
}

async function sheetWith(
  title: Title,
  written: SuggestedScenes['written'],
  sheetPath: string,
  options: TitleOptions,
): Promise<string> {
  const { sheet: own, sheetPath: ownPath } = title
  const beside = pathBeside(sheetPath)
  const moved = (target: string) => beside(besideSheet(ownPath as string, target))
  const sheet: Sheet =
    own === null
      ? await freshSheet(title, sheetPath, options)
      : {
          ...own,
          sources: own.sources.map((file) => ({ ...file, path: moved(file.path) })),
          spec: own.spec === null || own.spec.path === null ? own.spec : { ...own.spec, path: moved(own.spec.path) },
        }
  return sheetJson({ ...sheet, upmix: { ...sheet.upmix, ...written } })
}

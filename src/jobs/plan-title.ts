import { join } from 'node:path'
import { hasFoldDown, type Sheet } from '../domain/index.ts'
import { type Progress, planProgramme } from '../engine/index.ts'
import type { ListeningPlan } from '../protocol/index.ts'
import { createPlanes } from './planes-file.ts'
import { readTracks } from './read-tracks.ts'
import { besideSheet } from './sheet.ts'
import type { OpenedSource } from './source.ts'
import { askedOf, identityOf, openTitle, orderedTitle, type TitleOptions } from './title.ts'
import { TOOL_VERSION } from './tool.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

/** A plan, and where the sound lies that it is heard from. */
export type PlannedTitle = { readonly plan: ListeningPlan; readonly location: OpenedSource['location'] }

export type PlanOptions = JobOptions &
  TitleOptions & {
    /** As it stands in the page; its files were checked against their hashes when the title was measured. */
    readonly sheet: Sheet
    readonly sheetPath: string
    /** Its own, and kept for as long as the plan is listened to. */
    readonly scratchFolder: string
  }

/** Does everything of a delivery that comes before its first render, so that the result can be heard while it is decided. */
export async function planTitle(options: PlanOptions, progress?: (progress: Progress) => void): Promise<PlannedTitle> {
  const { sheetPath, scratchFolder } = options
  const sheet = { ...options.sheet, sources: options.sheet.sources.map((file) => ({ ...file, sha256: null })) }
  const reels = sheet.sources.map(({ path, layout, order }) => ({
    path: besideSheet(sheetPath, path),
    layout: (layout ?? undefined) as TitleOptions['layout'],
    order: (order ?? undefined) as TitleOptions['order'],
  }))
  const title = await openTitle({ onDisk: { path: sheetPath, sheet }, reels }, () => scratchFolder, options)
  const { source, spec } = title
  const isUpmix = source.layout === '2.0'
  const planes = isUpmix ? { planes: createPlanes(join(scratchFolder, 'planes'), source.frameCount) } : {}
  const opened = { source: source.location, ...planes }
  const listens = isListening(options) && (isUpmix || spec !== null)
  return await withCrew(
    source,
    { ...options, listens, aside: true },
    async (crew, kernels) => {
      const way = { scratchFolder: () => scratchFolder, listens, progress }
      const read = isUpmix ? await readTracks(source, title.upmix.settings, crew, opened, way) : null
      const location = (read?.places.source ?? source.location) as OpenedSource['location']
      const { encoding, channelCount } = location.format
      const isMended = location !== source.location
      const upmix = read && { reading: read.reading, sound: { encoding, channelCount }, isMended }
      if (spec === null) return { plan: { upmix, gain: null, moves: null, feasible: false, findings: [] }, location }
      const { plan, certificate, ceilingLossDb, feasible, findings } = await planProgramme(
        {
          tool: { version: TOOL_VERSION, kernelsSha256: kernels.sha256 },
          title: identityOf(title),
          source: orderedTitle(title, options.signal),
          spec,
          upmix: read && { ...title.upmix, reading: read.reading },
          fit: title.fit,
          listens,
          heard: read?.heard ?? null,
          ...askedOf(title),
          bitsPerSample: 24,
          stereo: hasFoldDown(isUpmix ? '5.1' : source.layout),
          keepsNonconforming: true,
          writesGain: false,
          writesDifference: false,
        },
        crew,
        progress === undefined ? {} : { progress },
      )
      const ride = certificate && {
        gainDb: certificate.rideDb,
        lowestDb: certificate.corridor.lowerDb,
        highestDb: certificate.corridor.upperDb,
      }
      return { plan: { upmix, gain: plan, moves: { ride, ceilingLossDb }, feasible, findings }, location }
    },
    opened,
  )
}

import { basename, join } from 'node:path'
import { type Finding, type Measurements, type ProgrammeLanes, printFigure } from '../domain/index.ts'
import { type Progress, upmixProgramme } from '../engine/index.ts'
import { upmixPicture } from '../report/index.ts'
import { createPlanes } from './planes-file.ts'
import { readTracks } from './read-tracks.ts'
import { refuse } from './refusals.ts'
import { ScratchFolder } from './scratch.ts'
import { refuseOneName, SingleOutput } from './single-output.ts'
import { type OpenedSource, openSource, orderedSource, programmeOf } from './source.ts'
import { inputsOf, nameTitle, openTitle, type Title, type TitleOptions } from './title.ts'
import { refuseUntoldChannels, twoTrack } from './two-track.ts'
import { type WavOutput, WavOutputs } from './wav-outputs.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

export type UpmixOptions = JobOptions &
  TitleOptions & {
    readonly gainDb: number
    readonly bitsPerSample: 16 | 24
    readonly replaces: boolean
    /** Where to draw how the energy was divided over time. */
    readonly picture?: string | undefined
    /** A stem of the mix that goes through the weights computed from the mix, and where the result goes. */
    readonly through?: { readonly stem: string; readonly out: string } | undefined
  }

export type Upmixed = {
  readonly path: string
  readonly measurements: Measurements
  /** What the mixer has to know of the two tracks. */
  readonly findings: readonly Finding[]
  /** The stem as it came through; null where none was sent. */
  readonly through: { readonly path: string; readonly measurements: Measurements } | null
}

/** Upmixes a two-track file, or the title of a sheet, to 5.1 at its own level; a stem can be sent through the same weights. */
export async function upmix(
  path: string,
  outPath: string,
  options: UpmixOptions,
  progress?: (progress: Progress) => void,
): Promise<Upmixed> {
  using scratch = new ScratchFolder()
  const { through, replaces, signal } = options
  const named = await nameTitle([path])
  const sources = through === undefined ? inputsOf(named) : [...inputsOf(named), through.stem]
  using output = new SingleOutput(outPath, { replaces, sources })
  using stemOutput = through === undefined ? null : new SingleOutput(through.out, { replaces, sources })
  using picture = options.picture === undefined ? null : new SingleOutput(options.picture, { replaces, sources })
  refuseOneName([output, stemOutput, picture])
  const title = await openTitle(named, () => scratch.path, options).catch(refuseUntoldChannels(path))
  const source = await twoTrack(title.source, options)
  const stem =
    through === undefined
      ? null
      : await openSource(through.stem, () => scratch.path, options, signal)
          .catch(refuseUntoldChannels(through.stem))
          .then((opened) => twoTrack(opened, options))
  if (stem !== null) refuseMisaligned(source, stem)

  const opened = {
    source: source.location,
    planes: createPlanes(join(scratch.path, 'planes'), source.frameCount),
    ...(stem && { stem: stem.location }),
  }
  const listens = isListening(options)
  return await withCrew(
    source,
    { ...options, listens },
    async (crew) => {
      const { sha256: sourceSha256 } = orderedSource(source, signal)
      const { settings } = title.upmix
      const way = { scratchFolder: () => scratch.path, listens, progress }
      const { places: fixed, reading, findings } = await readTracks(source, settings, crew, opened, way)
      const make = async (to: SingleOutput, isThrough: boolean) => {
        const { gainDb, bitsPerSample } = options
        const outputs = new WavOutputs([wavOf(to.path, bitsPerSample)], source, {
          partPath: () => to.partPath,
          move: (places) => crew.move({ ...fixed, ...places }),
          cancellation: signal,
        })
        const order = {
          programme: { ...programmeOf(source), layout: '2.0' } as const,
          plan: { ...title.upmix, reading },
          gainDb,
          bitsPerSample,
          sourceSha256,
          through: isThrough,
        }
        const watch = progress === undefined ? {} : { progress }
        const upmixed = await upmixProgramme(order, crew, outputs, watch)
        if (upmixed.measurements === null) throw wouldClip(to.path, upmixed.peakDbfs)
        await outputs.seal([], true)
        return { path: to.path, measurements: upmixed.measurements, lanes: upmixed.lanes }
      }
      const { lanes, ...made } = await make(output, false)
      picture?.writeText(upmixedPicture(title, made.path, lanes))
      const { lanes: _, ...carried } = stemOutput === null ? { lanes: null } : await make(stemOutput, true)
      for (const written of [output, stemOutput, picture]) written?.place()
      return { ...made, findings, through: 'path' in carried ? carried : null }
    },
    opened,
  )
}

function upmixedPicture({ source, upmix: { scenes } }: Title, path: string, lanes: ProgrammeLanes): string {
  const { sampleRateHz } = source.format
  const picture = {
    durationSeconds: source.frameCount / sampleRateHz,
    sampleRateHz,
    clock: source.clock,
    lanes,
    scenes: scenes.map(({ name, startFrame, endFrame }) => ({
      name,
      startSeconds: startFrame / sampleRateHz,
      endSeconds: endFrame / sampleRateHz,
    })),
  }
  return upmixPicture(picture, `${basename(path)}: where the energy of the upmix went`)
}

function refuseMisaligned(source: OpenedSource, stem: OpenedSource): void {
  const isAligned =
    source.layout === stem.layout &&
    source.frameCount === stem.frameCount &&
    source.format.sampleRateHz === stem.format.sampleRateHz
  if (isAligned) return
  const found = `${stem.layout}, ${stem.frameCount} frames at ${stem.format.sampleRateHz} Hz`
  throw refuse('JOBS_STEM_MISMATCH', `send "${stem.path}" through the upmix`, found, {
    wanted: `${source.layout}, ${source.frameCount} frames at ${source.format.sampleRateHz} Hz, as in the mix`,
  })
}

/** @param peakDbfs highest sample of the upmix before any gain */
function wouldClip(path: string, peakDbfs: number): Error {
  const gainDb = Math.floor(-peakDbfs * 10) / 10
  return refuse('JOBS_WOULD_CLIP', `write "${path}"`, `a peak of ${printFigure(peakDbfs, 2)} dBFS`, {
    remedy: `Add --gain ${gainDb}, or use "plimsoll deliver", which fits the result under a ceiling.`,
  })
}

function wavOf(path: string, bitsPerSample: 16 | 24): WavOutput {
  const encoding = bitsPerSample === 16 ? 'int16' : 'int24'
  return { audio: 'multichannel', role: null, layout: '5.1', encoding, name: basename(path) }
}

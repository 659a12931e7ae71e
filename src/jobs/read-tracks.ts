import { closeSync, openSync, truncateSync } from 'node:fs'
import { join } from 'node:path'
import { decodesMatrix, FOLD_DOWN_K, type SpeechLane, type UpmixSettings, voiceOf } from '../domain/index.ts'
import {
  type Crew,
  hearProgramme,
  type Mending,
  mendProgramme,
  type ProgrammeShape,
  type Progress,
  READ_SHARE,
  type ReadProgramme,
  readProgramme,
} from '../engine/index.ts'
import type { PcmLocation } from '../media/index.ts'
import type { WorkerCrew } from './crew.ts'
import { whileWriting } from './file-errors.ts'
import { type OpenedSource, programmeOf } from './source.ts'
import type { Places } from './workplace.ts'

/** The two tracks that an upmix starts from, and what they were found to be. */
export type TracksRead = ReadProgramme & {
  /** Where the crew finds everything, the mended master in place of the source. */
  readonly places: Places
  /** Where there is dialogue; null where nobody listened. */
  readonly heard: SpeechLane | null
}

/** How tracks are read: where a mended master may lie, and whether the crew, hired for it, listens for speech. */
export type ReadingWay = {
  readonly scratchFolder: () => string
  readonly listens: boolean
  readonly progress?: ((progress: Progress) => void) | undefined
  /** Share of the run that reading the tracks takes; absent: as before an upmix. Only the progress line depends on it. */
  readonly share?: number
}

const BYTES_PER_FRAME = 8

/**
 * Finds out what the two tracks are, and mends them where the settings say so: one track made a mono programme, one
 * turned upside down, the late one brought forward; a mono file becomes two tracks. What comes of it is listened to. The source stays as it is; a mended
 * master, and the stem at `places` likewise, lies in `scratchFolder`, and all that follows starts from it. Leaves the
 * crew at the places that it gives.
 */
export async function readTracks(
  source: OpenedSource,
  settings: UpmixSettings,
  crew: Crew & Pick<WorkerCrew, 'move'>,
  places: Places,
  way: ReadingWay,
): Promise<TracksRead> {
  const programme = programmeOf(source)
  const twoTracks = { ...programme, layout: '2.0' } as const
  const tell = (share: number) => way.progress?.({ stage: 'inspect', share: share * (way.share ?? READ_SHARE) })
  const found = source.layout === 'mono' ? null : await readProgramme(crew, programme, settings, tell)
  const mending = mendingFor(settings, found, programme.sampleRateHz)
  if (found !== null && mending === null) {
    return { ...(await heard(told(found, settings), settings, crew, twoTracks, way)), places }
  }

  let moved = places
  for (const name of ['source', 'stem'] as const) {
    const place = places[name]
    if (place === undefined) continue
    const mended = emptyMaster(join(way.scratchFolder(), `mended-${name}.pcm`), source)
    crew.move({ ...places, source: place, mended })
    await mendProgramme(crew, twoTracks, mending as Mending)
    moved = { ...moved, [name]: mended }
  }
  crew.move(moved)
  const read = told(await readProgramme(crew, twoTracks, settings), settings)
  return { ...(await heard(read, settings, crew, twoTracks, way)), places: moved }
}

/** Listens to what is upmixed; an Lt/Rt is decoded, and no weight of that follows speech. */
async function heard(
  read: ReadProgramme,
  settings: UpmixSettings,
  crew: Crew,
  programme: ProgrammeShape,
  { listens, progress }: ReadingWay,
): Promise<Omit<TracksRead, 'places'>> {
  if (!listens || decodesMatrix(settings, read.reading)) return { ...read, heard: null }
  const lane = await hearProgramme(crew, programme, progress === undefined ? {} : { progress })
  return { ...read, reading: { ...read.reading, voice100ms: voiceOf(lane) }, heard: lane }
}

function told({ reading, findings }: ReadProgramme, { azimuthTracking }: UpmixSettings): ReadProgramme {
  if (azimuthTracking === 'on') return { reading, findings }
  return { reading: { ...reading, delay: [] }, findings: findings.filter(({ id }) => id !== 'source-azimuth') }
}

/** Makes the file that a mended master is written into. */
function emptyMaster(path: string, { frameCount, format: { sampleRateHz } }: OpenedSource): PcmLocation {
  whileWriting(path, () => {
    closeSync(openSync(path, 'wx'))
    truncateSync(path, BYTES_PER_FRAME * frameCount)
  })
  const format = { encoding: 'float32', channelCount: 2, sampleRateHz } as const
  return { path, dataByteOffset: 0, format, layout: '2.0', frameCount, channelOrder: null }
}

/** What is to be mended, where `found` is null of a mono file; null where nothing is. */
function mendingFor(settings: UpmixSettings, found: ReadProgramme | null, sampleRateHz: number): Mending | null {
  const { tracks, polarity, trackAlignment } = settings
  if (found === null || tracks !== 'both') {
    // A mono programme becomes a centre of its own level, whose fold-down lies 3 dB lower on both sides.
    const channel = found === null || tracks === 'left' ? 0 : 1
    const track = { channel, gain: FOLD_DOWN_K, earlierFrames: 0 }
    return { left: track, right: track }
  }
  const late = trackAlignment === 'align' ? (found.reading.offsetMicroseconds * sampleRateHz) / 1e6 : 0
  if (polarity === 'as-is' && late === 0) return null
  return {
    left: { channel: 0, gain: polarity === 'flip-left' ? -1 : 1, earlierFrames: Math.max(0, -late) },
    right: { channel: 1, gain: polarity === 'flip-right' ? -1 : 1, earlierFrames: Math.max(0, late) },
  }
}

import { closeSync, openSync, truncateSync } from 'node:fs'
import { join } from 'node:path'
import { FOLD_DOWN_K, type UpmixSettings } from '../domain/index.ts'
import { type Mending, mendProgramme, type ReadProgramme, readProgramme } from '../engine/index.ts'
import type { PcmLocation } from '../media/index.ts'
import type { WorkerCrew } from './crew.ts'
import { whileWriting } from './file-errors.ts'
import { type OpenedSource, programmeOf } from './source.ts'
import type { Places } from './workplace.ts'

/** The two tracks that an upmix starts from, and what they were found to be. */
export type TracksRead = ReadProgramme & {
  /** Where the crew finds everything, the mended master in place of the source. */
  readonly places: Places
}

const BYTES_PER_FRAME = 8

/**
 * Finds out what the two tracks are, and mends them where the settings say so: one track made a mono programme, one
 * turned upside down, the late one brought forward; a mono file becomes two tracks. The source stays as it is; a mended
 * master, and the stem at `places` likewise, lies in `scratchFolder`, and all that follows starts from it. Leaves the
 * crew at the places that it gives.
 */
export async function readTracks(
  source: OpenedSource,
  settings: UpmixSettings,
  crew: WorkerCrew,
  places: Places,
  scratchFolder: () => string,
): Promise<TracksRead> {
  const programme = programmeOf(source)
  const twoTracks = { ...programme, layout: '2.0' } as const
  const found = source.layout === 'mono' ? null : await readProgramme(crew, programme, settings)
  const mending = mendingFor(settings, found, programme.sampleRateHz)
  if (found !== null && mending === null) return { ...told(found, settings), places }

  let moved = places
  for (const name of ['source', 'stem'] as const) {
    const place = places[name]
    if (place === undefined) continue
    const mended = emptyMaster(join(scratchFolder(), `mended-${name}.pcm`), source)
    crew.move({ ...places, source: place, mended })
    await mendProgramme(crew, twoTracks, mending as Mending)
    moved = { ...moved, [name]: mended }
  }
  crew.move(moved)
  return { ...told(await readProgramme(crew, twoTracks, settings), settings), places: moved }
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

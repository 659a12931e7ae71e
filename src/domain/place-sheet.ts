import type { FrameRange } from './frame-range.ts'
import type { ProgrammeSegment } from './segments.ts'
import type { Sheet, SheetHandRide, SheetScene, SheetStretch } from './sheet.ts'
import { type Clock, isTimecodeProblem, printInstant, readInstant, readInstantBeside } from './timecode.ts'
import { gainSpan, type HandRide, type MixerGain, type Trim } from './trims.ts'

/** What is wrong with one place of a file that a user wrote. */
export type FileProblem = {
  /** Names from the top of the file, joined by dots; empty for the file as a whole. */
  readonly path: string
  readonly found: string
  readonly needed: string
  /** The valid name or time that was probably meant, or is nearest; null where there is none. */
  readonly nearest: string | null
}

/** A lock in frames. */
export type PlacedLock = FrameRange & { readonly toleranceDb: number }

/** A limit of the ride in frames. */
export type PlacedLimit = FrameRange & { readonly lowestDb: number; readonly highestDb: number }

/** A scene of the upmix in frames, with the settings that it names itself. */
export type PlacedScene = FrameRange & Pick<SheetScene, 'name' | 'settings' | 'glideInMs' | 'glideOutMs'>

/** What a sheet says of the frames of its programme. */
export type PlacedSheet = {
  readonly segments: readonly ProgrammeSegment[]
  readonly trims: readonly Trim[]
  readonly locks: readonly PlacedLock[]
  readonly limits: readonly PlacedLimit[]
  /** Trims and hand rides together. */
  readonly gains: readonly MixerGain[]
  readonly scenes: readonly PlacedScene[]
  /** Where the picture begins; before the programme it is negative. */
  readonly pictureFrame: number
}

/** The programme that a sheet is laid on; several reels count as one. */
export type SheetGround = { readonly clock: Clock | null; readonly sampleRateHz: number; readonly frameCount: number }

/**
 * Lays the times of a sheet on the frames of its programme. Gives every problem at once: times that do not exist, lie
 * outside or run backwards, stretches that overlap, trims, locks and scenes outside the programme, trims that a lock
 * forbids.
 */
export function placeSheet(
  sheet: Pick<Sheet, 'segments' | 'fit' | 'upmix' | 'picture'>,
  ground: SheetGround,
): PlacedSheet | readonly FileProblem[] {
  const problems: FileProblem[] = []
  const place = <T extends SheetStretch>(entries: readonly T[], list: string) =>
    placeAll(entries, list, ground, problems)
  const segments = place(sheet.segments, 'segments').map(({ entry: { kind, name }, range }) => ({
    ...range,
    kind,
    name,
  }))
  const trims = place(sheet.fit.trims, 'fit.trims')
  const locks = place(sheet.fit.locks, 'fit.locks')
  const limits = place(sheet.fit.limits ?? [], 'fit.limits')
  const handRides = place(sheet.fit.handRides ?? [], 'fit.handRides')
  const drawn = handRides.map((ride) => drawnRide(ride, ground, problems))
  const scenes = place(sheet.upmix.scenes, 'upmix.scenes')
  const programme = segments.filter(({ kind }) => kind === 'programme')
  if (segments.length > 0) {
    if (programme.length === 0) {
      const needed = 'at least one segment of the kind "programme"'
      problems.push({ path: 'segments', found: 'no programme among them', needed, nearest: null })
    }
    for (const stretch of [...trims, ...locks, ...limits, ...handRides, ...scenes])
      problems.push(...outsideProgramme(stretch, programme, ground))
  }
  for (const trim of trims) problems.push(...againstLocks(trim, trim.entry.gainDb, 'gainDb', locks, ground))
  for (const [index, ride] of handRides.entries()) {
    const { lowestDb, highestDb } = gainSpan(drawn[index] as HandRide)
    problems.push(...againstLocks(ride, -lowestDb > highestDb ? lowestDb : highestDb, 'points', locks, ground))
  }
  const pictureFrame = pictureFrameOf(sheet.picture, ground, problems)
  if (problems.length > 0) return problems
  const placedTrims = trims.map(({ entry: { gainDb, glideMs, reason }, range }) => ({
    ...range,
    gainDb,
    glideMs,
    reason,
  }))
  return {
    pictureFrame,
    segments,
    trims: placedTrims,
    gains: [...placedTrims, ...drawn],
    limits: limits.map(({ entry: { lowestDb, highestDb }, range }) => ({ ...range, lowestDb, highestDb })),
    locks: locks.map(({ entry: { toleranceDb }, range }) => ({ ...range, toleranceDb })),
    scenes: scenes.map(({ entry: { name, settings, glideInMs, glideOutMs }, range }) => ({
      ...range,
      name,
      settings,
      glideInMs,
      glideOutMs,
    })),
  }
}

function pictureFrameOf(
  picture: Sheet['picture'],
  { clock, sampleRateHz }: SheetGround,
  problems: FileProblem[],
): number {
  const read = picture === undefined ? 0 : readInstantBeside(clock, picture.from, sampleRateHz)
  if (!isTimecodeProblem(read)) return read
  problems.push({ path: 'picture.from', found: read.found, needed: read.wanted, nearest: read.nearest })
  return 0
}

/** An entry of the sheet, where it stands in the file, and its frames. */
type Placed<T> = { readonly entry: T; readonly path: string; readonly range: FrameRange }

/** In order of time; what is wrong is added to `problems` and left out. */
function placeAll<T extends SheetStretch>(
  entries: readonly T[],
  list: string,
  ground: SheetGround,
  problems: FileProblem[],
): readonly Placed<T>[] {
  const placed = entries.flatMap((entry, index) => {
    const path = `${list}.${index}`
    const range = rangeOf(entry, path, ground, problems)
    return range === null ? [] : [{ entry, path, range }]
  })
  placed.sort((a, b) => a.range.startFrame - b.range.startFrame)
  for (const [index, { path, range, entry }] of placed.entries()) {
    const before = placed[index - 1]
    if (before === undefined || before.range.endFrame <= range.startFrame) continue
    problems.push({
      path: `${path}.from`,
      found: `"${entry.from}", inside ${before.path}, which ends at ${before.entry.to}`,
      needed: 'stretches that do not overlap',
      nearest: before.entry.to,
    })
  }
  return placed
}

function rangeOf(
  { from, to }: SheetStretch,
  path: string,
  ground: SheetGround,
  problems: FileProblem[],
): FrameRange | null {
  const { clock, sampleRateHz, frameCount } = ground
  const print = (frame: number) => printInstant(clock, frame, sampleRateHz)
  const frameOf = (text: string, name: 'from' | 'to'): number | null => {
    const frame = readInstant(clock, text, sampleRateHz)
    if (isTimecodeProblem(frame)) {
      problems.push({ path: `${path}.${name}`, found: frame.found, needed: frame.wanted, nearest: frame.nearest })
      return null
    }
    // The end of the file need not be the end of a picture, nor a whole millisecond.
    const isInside = name === 'from' ? frame < frameCount : frame <= frameCount || print(frame) === endLabel(ground)
    if (isInside) return Math.min(frame, frameCount)
    problems.push({
      path: `${path}.${name}`,
      found: `"${text}"`,
      needed: `a time inside the programme, ${print(0)} to ${endLabel(ground)}`,
      nearest: name === 'from' ? print(0) : endLabel(ground),
    })
    return null
  }
  const startFrame = frameOf(from, 'from')
  const endFrame = frameOf(to, 'to')
  if (startFrame === null || endFrame === null) return null
  if (startFrame < endFrame) return { startFrame, endFrame }
  problems.push({ path: `${path}.to`, found: `"${to}"`, needed: `a time after "${from}"`, nearest: null })
  return null
}

/** The first label that lies wholly behind the programme: as the `to` of a stretch it means the end. */
export function endLabel({ clock, sampleRateHz, frameCount }: SheetGround): string {
  const last = printInstant(clock, frameCount, sampleRateHz)
  const isExact = readInstant(clock, last, sampleRateHz) === frameCount
  if (isExact) return last
  const step = clock === null ? sampleRateHz / 1000 : sampleRateHz / Number(clock.format.rate)
  return printInstant(clock, Math.ceil(frameCount + step), sampleRateHz)
}

function outsideProgramme(
  { entry, path, range }: Placed<SheetStretch>,
  programme: readonly FrameRange[],
  { clock, sampleRateHz }: SheetGround,
): readonly FileProblem[] {
  const isInside = programme.some(
    ({ startFrame, endFrame }) => range.startFrame >= startFrame && range.endFrame <= endFrame,
  )
  if (isInside || programme.length === 0) return []
  const distance = ({ startFrame, endFrame }: FrameRange) =>
    Math.max(0, startFrame - range.endFrame, range.startFrame - endFrame)
  const nearest = programme.reduce((best, segment) => (distance(segment) < distance(best) ? segment : best))
  const print = (frame: number) => printInstant(clock, frame, sampleRateHz)
  return [
    {
      path,
      found: `${entry.from} to ${entry.to}, which does not lie in one programme segment`,
      needed: 'a stretch inside one programme segment',
      nearest: `${print(nearest.startFrame)} to ${print(nearest.endFrame)}`,
    },
  ]
}

/** The points of a hand ride on frames; those that do not exist, lie outside of it or run backwards are problems. */
function drawnRide(
  { entry, path, range }: Placed<SheetHandRide>,
  { clock, sampleRateHz }: SheetGround,
  problems: FileProblem[],
): HandRide {
  const points: { frame: number; gainDb: number }[] = []
  for (const [index, { at, gainDb }] of entry.points.entries()) {
    const frame = readInstant(clock, at, sampleRateHz)
    const place = `${path}.points.${index}.at`
    if (isTimecodeProblem(frame)) {
      problems.push({ path: place, found: frame.found, needed: frame.wanted, nearest: frame.nearest })
      continue
    }
    const before = points.at(-1)
    const isInside = frame >= range.startFrame && frame <= range.endFrame
    if (!isInside || (before !== undefined && frame <= before.frame)) {
      const needed = isInside ? 'points in order of time' : `a time inside ${entry.from} to ${entry.to}`
      problems.push({ path: place, found: `"${at}"`, needed, nearest: null })
    }
    points.push({ frame, gainDb })
  }
  return { ...range, points, reason: entry.reason }
}

function againstLocks(
  trim: Placed<SheetStretch>,
  gainDb: number,
  name: 'gainDb' | 'points',
  locks: readonly Placed<Sheet['fit']['locks'][number]>[],
  { clock, sampleRateHz }: SheetGround,
): readonly FileProblem[] {
  const lock = locks.find(
    ({ entry, range }) =>
      range.startFrame < trim.range.endFrame &&
      trim.range.startFrame < range.endFrame &&
      Math.abs(gainDb) > entry.toleranceDb,
  )
  if (lock === undefined) return []
  const until = printInstant(clock, lock.range.startFrame, sampleRateHz)
  return [
    {
      path: `${trim.path}.${name}`,
      found: `${gainDb} dB inside ${lock.path}, which allows ${lock.entry.toleranceDb} dB`,
      needed: `a ${name === 'points' ? 'hand ride' : 'trim'} that the lock allows, or one that keeps out of it`,
      nearest:
        trim.range.startFrame < lock.range.startFrame
          ? `a ${name === 'points' ? 'hand ride' : 'trim'} that ends at ${until}`
          : null,
    },
  ]
}

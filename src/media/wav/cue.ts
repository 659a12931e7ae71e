import { unwritable } from '../refusals.ts'

/** A marker of a WAV file: a stretch with a name and a note. Texts are ASCII. */
export type WavMarker = {
  readonly startFrame: number
  readonly frameCount: number
  readonly name: string
  readonly note: string
}

/** The markers that a file has already: raw points, and the raw entries of its list of labels. */
export type ExistingMarkers = { readonly points: Buffer; readonly labels: readonly Buffer[] }

const POINT_BYTES = 24
const COUNT_BYTES = 4
const ENTRY_HEADER_BYTES = 8
const LIST_TYPE_BYTES = 4
/** Positions and lengths are 32-bit words. */
const LAST_POSITION = 2 ** 32 - 1
/** What a labelled stretch is for. @source RIFF, ltxt chunk: purpose `rgn ` is a region */
const REGION = 'rgn '

/** Reads the points of a `cue ` body and the lists of an `adtl`; what does not fit the chunk is left out. */
export function existingMarkers(cueBody: Buffer | null, listBodies: readonly Buffer[]): ExistingMarkers {
  const stated = cueBody === null || cueBody.length < COUNT_BYTES ? 0 : cueBody.readUInt32LE(0)
  const present = Math.floor(Math.max(0, (cueBody?.length ?? 0) - COUNT_BYTES) / POINT_BYTES)
  const points = (cueBody ?? Buffer.alloc(0)).subarray(
    COUNT_BYTES,
    COUNT_BYTES + POINT_BYTES * Math.min(stated, present),
  )
  return { points, labels: listBodies.flatMap(entriesOf) }
}

/** The entries of an `adtl` list, each with its header; bytes behind the last whole one are left out. */
function entriesOf(body: Buffer): readonly Buffer[] {
  const entries: Buffer[] = []
  let at = LIST_TYPE_BYTES
  while (at + ENTRY_HEADER_BYTES <= body.length) {
    const end = at + ENTRY_HEADER_BYTES + body.readUInt32LE(at + 4)
    if (end > body.length) break
    entries.push(evenly(body.subarray(at, end)))
    at = end + (end % 2)
  }
  return entries
}

/**
 * The bodies of a `cue ` chunk and of its `LIST` of type `adtl`, with what was there before. New points get numbers
 * that were free. Refuses positions that 32 bits cannot hold.
 * @source Microsoft and IBM, Multimedia Programming Interface 1.0 (1991): cue, labl, note, ltxt
 */
export function encodeMarkers(
  path: string,
  markers: readonly WavMarker[],
  existing: ExistingMarkers,
): { readonly cue: Buffer; readonly list: Buffer } {
  const far = markers.find(({ startFrame, frameCount }) => Math.max(startFrame, frameCount) > LAST_POSITION)
  if (far !== undefined) {
    const found = `a marker at frame ${far.startFrame} over ${far.frameCount} frames`
    throw unwritable('MEDIA_MARKER_TOO_FAR', path, found)
  }
  const numbers = freeNumbers(existing.points, markers.length)
  const points = markers.map((marker, index) => encodePoint(numbers[index] as number, marker.startFrame))
  const added = markers.flatMap((marker, index) => encodeLabels(numbers[index] as number, marker))
  // libsndfile 1.2 reads no name that stands behind a note.
  const isName = (label: Buffer) => label.toString('latin1', 0, 4) === 'labl'
  const labels = [...existing.labels, ...added]
  const count = Buffer.alloc(COUNT_BYTES)
  count.writeUInt32LE(existing.points.length / POINT_BYTES + markers.length)
  return {
    cue: Buffer.concat([count, existing.points, ...points]),
    list: Buffer.concat([
      Buffer.from('adtl', 'latin1'),
      ...labels.filter(isName),
      ...labels.filter((label) => !isName(label)),
    ]),
  }
}

/** Numbers that no point of the file has, from behind its highest on where there is room. */
function freeNumbers(points: Buffer, count: number): readonly number[] {
  const taken = new Set<number>()
  for (let at = 0; at < points.length; at += POINT_BYTES) taken.add(points.readUInt32LE(at))
  const highest = [...taken].reduce((a, b) => Math.max(a, b), 0)
  const numbers: number[] = []
  for (let number = highest + count > LAST_POSITION ? 1 : highest + 1; numbers.length < count; number++) {
    if (!taken.has(number)) numbers.push(number)
  }
  return numbers
}

function encodePoint(number: number, frame: number): Buffer {
  const point = Buffer.alloc(POINT_BYTES)
  point.writeUInt32LE(number, 0)
  point.writeUInt32LE(frame, 4)
  point.write('data', 8, 'latin1')
  // Chunk and block start are 0 where there is one data chunk of uncompressed audio.
  point.writeUInt32LE(frame, 20)
  return point
}

function encodeLabels(number: number, { frameCount, name, note }: WavMarker): readonly Buffer[] {
  const region = Buffer.alloc(COUNT_BYTES + 4 + 4 + 8)
  region.writeUInt32LE(number, 0)
  region.writeUInt32LE(frameCount, 4)
  region.write(REGION, 8, 'latin1')
  return [entry('labl', text(number, name)), entry('note', text(number, note)), entry('ltxt', region)]
}

function text(number: number, line: string): Buffer {
  const body = Buffer.alloc(COUNT_BYTES + line.length + 1)
  body.writeUInt32LE(number, 0)
  body.write(line, COUNT_BYTES, 'latin1')
  return body
}

function entry(name: string, body: Buffer): Buffer {
  const header = Buffer.alloc(ENTRY_HEADER_BYTES)
  header.write(name, 0, 'latin1')
  header.writeUInt32LE(body.length, 4)
  return evenly(Buffer.concat([header, body]))
}

function evenly(bytes: Buffer): Buffer {
  return bytes.length % 2 === 0 ? bytes : Buffer.concat([bytes, Buffer.alloc(1)])
}

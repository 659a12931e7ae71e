import { bytesPerFrame, type Finding } from '../../domain/index.ts'
import { type OpenFile, readRange } from '../file.ts'
import { unreadable } from '../refusals.ts'
import { type Bext, parseBext } from './bext.ts'
import { type Chunk, type ChunkMap, walkChunks } from './chunks.ts'
import { parseFormat, type WavFormat } from './fmt.ts'
import { type Ixml, parseIxml } from './ixml.ts'

/** What the header of a WAV, RF64 or BW64 file says, corrected by what is there. */
export type WavHeader = WavFormat & {
  readonly bext: Bext | null
  readonly ixml: Ixml | null
  readonly dataByteOffset: number
  readonly frameCount: number
  readonly findings: readonly Finding[]
}

/** Enough of any fmt chunk. */
const FORMAT_BYTES = 64
/** The coding history of a long-lived file is a few lines; the rest of an absurdly long chunk is not read. */
const MAX_BEXT_BYTES = 1 << 20
/** The lists of an iXML chunk are kilobytes; what is longer is read so far. */
const MAX_IXML_BYTES = 1 << 20
/** RIFF sizes that count the 8 bytes before them, or forget a pad byte, are common and harm nothing. */
const HARMLESS_BYTES = 8
/** Tags that some programs append to any file are shorter than this; more may be audio. */
const MAX_TAG_BYTES = 1 << 16

/** Reads the header of a WAVE form; `name` is the form's name. Refuses what holds no readable audio. */
export function readWavHeader(file: OpenFile, name: 'RIFF' | 'RF64' | 'BW64'): WavHeader {
  const map = walkChunks(file)
  const data = map.chunks.get('data')
  if (data === undefined) throw withoutData(file, map)
  const fmt = map.chunks.get('fmt ')
  if (fmt === undefined) throw unreadable('MEDIA_NO_FORMAT', file.path, 'no fmt chunk')
  const wav = parseFormat(file.path, bodyOf(file, fmt, FORMAT_BYTES))

  const frameBytes = bytesPerFrame(wav.format)
  const present = Math.max(0, Math.min(data.byteCount, file.byteCount - data.bodyOffset))
  const frameCount = Math.floor(present / frameBytes)
  if (frameCount === 0) throw unreadable('MEDIA_NO_AUDIO', file.path, `a data chunk with ${present} bytes of audio`)

  const extension = map.chunks.get('bext')
  const { bext, findings } =
    extension === undefined ? { bext: null, findings: [] } : parseBext(bodyOf(file, extension, MAX_BEXT_BYTES))
  const xml = map.chunks.get('iXML')
  const told = xml === undefined ? { ixml: null, findings: [] } : parseIxml(bodyOf(file, xml, MAX_IXML_BYTES))
  return {
    ...wav,
    bext,
    ixml: told.ixml,
    dataByteOffset: data.bodyOffset,
    frameCount,
    findings: [
      ...sizeFindings(file, map, data, name),
      ...partialFrame(present, frameBytes),
      ...findings,
      ...told.findings,
    ],
  }
}

function bodyOf(file: OpenFile, chunk: Chunk, maxBytes: number): Buffer {
  const bytes = readRange(file, chunk.bodyOffset, Math.min(chunk.byteCount, maxBytes))
  return Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length)
}

/** No data chunk: either the file was cut before it, or it never held audio. */
function withoutData(file: OpenFile, map: ChunkMap): Error {
  const promisesMore = (map.formEndOffset ?? 0) > file.byteCount
  const cutInside = [...map.chunks.values()].some((chunk) => chunk.bodyOffset + chunk.byteCount > file.byteCount)
  const found = `the end of the file after ${file.byteCount} bytes, before its audio`
  if (promisesMore || cutInside || map.chunks.size === 0) return unreadable('MEDIA_HEADER_TRUNCATED', file.path, found)
  return unreadable('MEDIA_NO_AUDIO', file.path, 'no data chunk')
}

/** A `fail` means that the audio itself is in doubt: it can be measured as it stands, not delivered. */
function sizeFinding(id: string, severity: Finding['severity'], byteCount: number | null, message: string): Finding {
  const source = 'RIFF; EBU Tech 3306 for RF64'
  return { id, severity, line: null, measured: byteCount, allowed: null, unit: 'bytes', at: null, source, message }
}

function sizeFindings(file: OpenFile, map: ChunkMap, data: Chunk, name: string): Finding[] {
  const dataEnd = data.bodyOffset + data.byteCount
  if (map.dataLength === 'left-open') {
    const found = 'The header says that there is no audio, as after a recording that was never closed'
    return [sizeFinding('lying-size', 'fail', data.byteCount, `${found}; all bytes to the end are read as audio.`)]
  }
  if (map.dataLength === 'not-told') {
    // A pipe cannot be wound back, so in RIFF this is common practice; RF64 has a place for the size.
    const severity = name === 'RIFF' ? 'warn' : 'fail'
    const found = 'The header does not say how much audio there is, as after writing into a pipe'
    return [sizeFinding('size-not-told', severity, data.byteCount, `${found}; all bytes to the end are read as audio.`)]
  }
  if (dataEnd > file.byteCount) {
    const missing = dataEnd - file.byteCount
    const found = `The end of the audio is missing: ${missing} of ${data.byteCount} bytes are not in the file`
    return [sizeFinding('truncated-data', 'fail', missing, `${found}. Copy it again from its origin.`)]
  }
  return formFindings(file, map, dataEnd)
}

/** The data chunk is whole; does the rest of the header agree with the file? */
function formFindings(file: OpenFile, map: ChunkMap, dataEnd: number): Finding[] {
  const formEnd = map.formEndOffset
  if (formEnd !== null && formEnd < dataEnd - HARMLESS_BYTES) {
    const found = `The header ends the file at byte ${formEnd}, but the audio at byte ${dataEnd}`
    return [sizeFinding('lying-size', 'fail', formEnd, `${found}. Export the file again.`)]
  }
  if (formEnd !== null && formEnd > file.byteCount + HARMLESS_BYTES) {
    const found = `The header promises ${formEnd} bytes, but there are ${file.byteCount}; the end may be missing`
    return [sizeFinding('lying-size', 'fail', formEnd, `${found}. Copy the file again from its origin.`)]
  }
  const strayBytes = file.byteCount - map.chunksEndOffset
  if (strayBytes < HARMLESS_BYTES) return []
  if (formEnd !== null && map.chunksEndOffset >= formEnd - HARMLESS_BYTES && strayBytes < MAX_TAG_BYTES) {
    const found = `${strayBytes} bytes behind the end of the WAV file are not read.`
    return [sizeFinding('trailing-bytes', 'note', strayBytes, found)]
  }
  const found = `${strayBytes} bytes belong to no chunk: the size of the audio may be wrong and some of it be missing`
  return [sizeFinding('lying-size', 'fail', strayBytes, `${found}. Export the file again.`)]
}

function partialFrame(dataBytes: number, frameBytes: number): Finding[] {
  const strayBytes = dataBytes % frameBytes
  // A single byte behind an odd length is the pad byte, which some writers of RF64 count as data.
  if (strayBytes === 0 || (strayBytes === 1 && dataBytes % 2 === 0)) return []
  const found = `The last frame has only ${strayBytes} of its ${frameBytes} bytes and is left out.`
  return [sizeFinding('partial-frame', 'warn', strayBytes, found)]
}

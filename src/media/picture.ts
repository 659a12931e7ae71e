import * as fs from 'node:fs'
import { CONTAINER_BYTES } from './container.ts'

/** A file with moving pictures, by its bytes. */
export type PictureFile = {
  /** What it is called when it is talked about. */
  readonly container: string
  /** As it is announced to a browser. */
  readonly mediaType: string
  /** How its pictures are coded, by the name that people know, else by the code in the file; null where it does not say. */
  readonly coding: string | null
}

/** Reads bytes at an offset; fewer where the file ends. */
type ReadAt = (offset: number, count: number) => Buffer

/** What moving pictures a file holds; null where it is none that can hold any, or holds only sound. */
export function readPicture(path: string): PictureFile | null {
  const fd = fs.openSync(path, 'r')
  try {
    const byteCount = fs.fstatSync(fd).size
    const readAt: ReadAt = (offset, count) => {
      const bytes = Buffer.alloc(count)
      return bytes.subarray(0, fs.readSync(fd, bytes, 0, count, offset))
    }
    return identify(readAt, byteCount)
  } finally {
    fs.closeSync(fd)
  }
}

function identify(readAt: ReadAt, byteCount: number): PictureFile | null {
  const beginning = readAt(0, CONTAINER_BYTES)
  const text = beginning.toString('latin1')
  if (MOVIE_ATOMS.has(text.slice(4, 8))) {
    const brand = text.slice(4, 8) === 'ftyp' ? text.slice(8, 12) : 'qt  '
    const found = movieCoding(readAt, byteCount)
    if (found === 'no picture') return null
    return { container: brand === 'qt  ' ? 'QuickTime' : 'MP4', mediaType: 'video/mp4', coding: named(found) }
  }
  if (text.startsWith('\x1a\x45\xdf\xa3')) {
    const found = matroskaCoding(readAt, byteCount)
    if (found === 'no picture') return null
    // One media type for both: browsers read them by the same rules.
    return { container: 'Matroska or WebM', mediaType: 'video/webm', coding: named(found) }
  }
  if (text.startsWith('\x06\x0e\x2b\x34')) return { container: 'MXF', mediaType: 'application/mxf', coding: null }
  return null
}

/** Atoms that such a file may begin with. @source ISO/IEC 14496-12; QuickTime File Format Specification */
const MOVIE_ATOMS: ReadonlySet<string> = new Set(['ftyp', 'moov', 'wide', 'mdat', 'free', 'skip'])

/** Codings by their codes. @source the registry of codes of ISO/IEC 14496-12 (mp4ra.org); RFC 9559 and its codec mappings; SMPTE RDD 36, ST 2019 */
const CODINGS: readonly (readonly [code: RegExp, name: string])[] = [
  [/^avc[13]$|^V_MPEG4\/ISO\/AVC/, 'H.264'],
  [/^h[ve][vc]1$|^V_MPEGH\/ISO\/HEVC/, 'H.265'],
  [/^vp08$|^V_VP8/, 'VP8'],
  [/^vp09$|^V_VP9/, 'VP9'],
  [/^av01$|^V_AV1/, 'AV1'],
  [/^ap[c4][a-z]$|^V_PRORES/, 'ProRes'],
  [/^AVd[nh]$/, 'VC-3'],
  [/^mp4v$|^V_MPEG4\/ISO/, 'MPEG-4 part 2'],
  [/^m2v1$|^mpg2$|^xdv.$|^hdv.$|^V_MPEG2/, 'MPEG-2'],
  [/^dv[cp5h].?.?$/, 'DV'],
  [/^mjp[ab2]$|^jpeg$|^V_MJPEG/, 'Motion JPEG'],
]

function named(code: string | null): string | null {
  return CODINGS.find(([pattern]) => pattern.test(code ?? ''))?.[1] ?? (code || null)
}

type Found = string | null | 'no picture'

type Box = { readonly type: string; readonly from: number; readonly to: number }

/** The boxes that lie in a stretch of an MP4 or QuickTime file. @source ISO/IEC 14496-12 4.2 */
function* boxesIn(readAt: ReadAt, from: number, to: number): Generator<Box> {
  for (let at = from; at + 8 <= to; ) {
    const head = readAt(at, 16)
    if (head.length < 8) return
    const small = head.readUInt32BE(0)
    if (small === 1 && head.length < 16) return
    const size = small === 1 ? Number(head.readBigUInt64BE(8)) : small === 0 ? to - at : small
    const own = small === 1 ? 16 : 8
    if (size < own) return
    yield { type: head.toString('latin1', 4, 8), from: at + own, to: Math.min(to, at + size) }
    at += size
  }
}

function boxIn(readAt: ReadAt, within: Box | undefined, type: string): Box | undefined {
  if (within === undefined) return undefined
  for (const box of boxesIn(readAt, within.from, within.to)) if (box.type === type) return box
  return undefined
}

/** The code of the first track of pictures; null where the file ends before it says. */
function movieCoding(readAt: ReadAt, byteCount: number): Found {
  const movie = boxIn(readAt, { type: '', from: 0, to: byteCount }, 'moov')
  if (movie === undefined) return null
  for (const track of boxesIn(readAt, movie.from, movie.to)) {
    if (track.type !== 'trak') continue
    const media = boxIn(readAt, track, 'mdia')
    const handler = boxIn(readAt, media, 'hdlr')
    if (handler === undefined || readAt(handler.from + 8, 4).toString('latin1') !== 'vide') continue
    const tables = boxIn(readAt, boxIn(readAt, media, 'minf'), 'stbl')
    const described = boxIn(readAt, tables, 'stsd')
    return described === undefined
      ? null
      : readAt(described.from + 12, 4)
          .toString('latin1')
          .trim()
  }
  return 'no picture'
}

/** Elements of Matroska that lead to the coding. @source RFC 9559 5.1 */
const SEGMENT = 0x18538067
const TRACKS = 0x1654ae6b
const TRACK = 0xae
const TRACK_TYPE = 0x83
const CODEC = 0x86
const CLUSTER = 0x1f43b675
const PICTURES = 1

type Element = { readonly id: number; readonly from: number; readonly to: number }

/** The elements that lie in a stretch. @source RFC 8794 4, 5 */
function* elementsIn(readAt: ReadAt, from: number, to: number): Generator<Element> {
  for (let at = from; at < to; ) {
    const head = readAt(at, 12)
    const idLength = Math.clz32(head[0] ?? 0) - 23
    const sizeLength = Math.clz32(head[idLength] ?? 0) - 23
    if (idLength > 4 || sizeLength > 8 || head.length < idLength + sizeLength) return
    const id = head.readUIntBE(0, idLength)
    let size = head[idLength]! & (0xff >> sizeLength)
    let isUnknown = size === 0xff >> sizeLength
    for (let i = 1; i < sizeLength; i++) {
      const byte = head[idLength + i]!
      size = size * 256 + byte
      isUnknown &&= byte === 0xff
    }
    const begin = at + idLength + sizeLength
    const end = isUnknown ? to : Math.min(to, begin + size)
    yield { id, from: begin, to: end }
    at = end
  }
}

function matroskaCoding(readAt: ReadAt, byteCount: number): Found {
  for (const segment of elementsIn(readAt, 0, byteCount)) {
    if (segment.id !== SEGMENT) continue
    for (const part of elementsIn(readAt, segment.from, segment.to)) {
      if (part.id === CLUSTER) return null
      if (part.id === TRACKS) return trackCoding(readAt, part)
    }
  }
  return null
}

function trackCoding(readAt: ReadAt, tracks: Element): Found {
  for (const track of elementsIn(readAt, tracks.from, tracks.to)) {
    if (track.id !== TRACK) continue
    const told = [...elementsIn(readAt, track.from, track.to)]
    const bytesOf = (id: number) => {
      const element = told.find((one) => one.id === id)
      return element === undefined ? Buffer.alloc(0) : readAt(element.from, Math.min(64, element.to - element.from))
    }
    const type = bytesOf(TRACK_TYPE)
    if (type.at(-1) === PICTURES) return bytesOf(CODEC).toString('latin1').replace(/\0+$/, '')
  }
  return 'no picture'
}

import { type OpenFile, readRange } from '../file.ts'

/** Stands in a 32-bit size field for "see ds64", or for "not known" in a file written into a pipe. */
export const SIZE_ELSEWHERE = 0xffffffff

/** The 64-bit sizes of RF64 and BW64. @source EBU Tech 3306 and ITU-R BS.2088-1: ds64 chunk */
type LongSizes = { readonly riffByteCount: number; readonly dataByteCount: number; readonly table: Map<string, number> }

export type Chunk = { readonly bodyOffset: number; readonly byteCount: number }

export type PlacedChunk = Chunk & { readonly name: string }

/** How the length of the data chunk was found. */
export type DataLength = 'told' | 'not-told' | 'left-open'

export type ChunkMap = {
  /** The first chunk of each name. A chunk may promise more bytes than the file has. */
  readonly chunks: ReadonlyMap<string, Chunk>
  /** All chunks as they follow each other. */
  readonly sequence: readonly PlacedChunk[]
  readonly dataLength: DataLength
  /** End of the RIFF form by its header, or null where the header leaves it open. */
  readonly formEndOffset: number | null
  /** Where bytes begin that are no chunk; the length of the file where all are. */
  readonly chunksEndOffset: number
}

const FORM_HEADER_BYTES = 12
const CHUNK_HEADER_BYTES = 8
const DS64_BYTES = 28
const DS64_ROW_BYTES = 12
/** More chunks than any real file has; keeps the walk through a hostile file short. */
const MAX_CHUNKS = 10_000
/** RIFF files that were joined end to end: what follows is another file, not a chunk. */
const FORM_NAMES: ReadonlySet<string> = new Set(['RIFF', 'RF64', 'BW64'])

type ChunkHeader = { readonly name: string; readonly byteCount: number }

function headerAt(file: OpenFile, byteOffset: number): ChunkHeader | null {
  const bytes = readRange(file, byteOffset, CHUNK_HEADER_BYTES)
  if (bytes.length < CHUNK_HEADER_BYTES) return null
  const name = String.fromCharCode(...bytes.subarray(0, 4))
  if (!/^[ -~]{4}$/.test(name) || FORM_NAMES.has(name)) return null
  return { name, byteCount: new DataView(bytes.buffer).getUint32(4, true) }
}

/** A header whose chunk lies inside the file: two of three random bytes would pass as a name, few as a size. */
function believableHeaderAt(file: OpenFile, byteOffset: number): boolean {
  const header = headerAt(file, byteOffset)
  return header !== null && byteOffset + CHUNK_HEADER_BYTES + header.byteCount <= file.byteCount
}

/** A 64-bit size as a Number; sizes that no file can have stay larger than any file. */
function long(view: DataView, byteOffset: number): number {
  return Number(view.getBigUint64(byteOffset, true))
}

function longSizes(file: OpenFile, bodyOffset: number, byteCount: number): LongSizes | null {
  const fixed = readRange(file, bodyOffset, Math.min(byteCount, DS64_BYTES))
  if (fixed.length < DS64_BYTES) return null
  const view = new DataView(fixed.buffer)
  const rows = Math.min(view.getUint32(24, true), Math.floor((byteCount - DS64_BYTES) / DS64_ROW_BYTES), MAX_CHUNKS)
  const bytes = readRange(file, bodyOffset + DS64_BYTES, rows * DS64_ROW_BYTES)
  const table = new Map<string, number>()
  for (let at = 0; at + DS64_ROW_BYTES <= bytes.length; at += DS64_ROW_BYTES) {
    const name = String.fromCharCode(...bytes.subarray(at, at + 4))
    table.set(name, long(new DataView(bytes.buffer), at + 4))
  }
  return { riffByteCount: long(view, 0), dataByteCount: long(view, 8), table }
}

/**
 * Walks the chunks of a WAVE form in whatever order they stand, without reading their bodies.
 * Odd chunks may lack their pad byte. A data chunk of size 0 with no chunk after it was never closed by its writer:
 * it counts to the end of the file.
 */
export function walkChunks(file: OpenFile): ChunkMap {
  const chunks = new Map<string, Chunk>()
  const sequence: PlacedChunk[] = []
  let sizes: LongSizes | null = null
  let dataLength: DataLength = 'told'
  let at = FORM_HEADER_BYTES
  for (let count = 0; count < MAX_CHUNKS; count++) {
    const header = headerAt(file, at)
    if (header === null) break
    const { name } = header
    const bodyOffset = at + CHUNK_HEADER_BYTES
    let byteCount = header.byteCount
    if (byteCount === SIZE_ELSEWHERE) {
      byteCount = (name === 'data' ? sizes?.dataByteCount : sizes?.table.get(name)) ?? SIZE_ELSEWHERE
      if (name === 'data' && sizes === null) {
        dataLength = 'not-told'
        byteCount = file.byteCount - bodyOffset
      }
    }
    if (name === 'data' && byteCount === 0 && bodyOffset < file.byteCount && !believableHeaderAt(file, bodyOffset)) {
      dataLength = 'left-open'
      byteCount = file.byteCount - bodyOffset
    }
    if (name === 'ds64') sizes ??= longSizes(file, bodyOffset, byteCount)
    sequence.push({ name, bodyOffset, byteCount })
    if (!chunks.has(name)) chunks.set(name, { bodyOffset, byteCount })
    at = nextOffset(file, bodyOffset, byteCount)
  }
  return {
    chunks,
    sequence,
    dataLength,
    formEndOffset: formEnd(file, sizes),
    chunksEndOffset: Math.min(at, file.byteCount),
  }
}

/** An odd chunk is followed by a pad byte of 0; without it the next name stands there at once. */
function nextOffset(file: OpenFile, bodyOffset: number, byteCount: number): number {
  const endOffset = bodyOffset + byteCount
  if (byteCount % 2 === 0) return endOffset
  const [pad] = readRange(file, endOffset, 1)
  const unpadded = pad !== undefined && pad !== 0 && believableHeaderAt(file, endOffset)
  return unpadded ? endOffset : endOffset + 1
}

function formEnd(file: OpenFile, sizes: LongSizes | null): number | null {
  const stated = new DataView(readRange(file, 0, CHUNK_HEADER_BYTES).buffer).getUint32(4, true)
  const byteCount = stated === SIZE_ELSEWHERE ? (sizes?.riffByteCount ?? null) : stated
  return byteCount === null ? null : byteCount + CHUNK_HEADER_BYTES
}

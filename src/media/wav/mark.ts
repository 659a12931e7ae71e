import { closeSync, fsyncSync, openSync, statfsSync } from 'node:fs'
import { dirname } from 'node:path'
import { setImmediate } from 'node:timers/promises'
import { Cancelled } from '../../domain/index.ts'
import { type OpenFile, openFile, readRange, writeAll, writeRefusal } from '../file.ts'
import type { Watch } from '../hash.ts'
import { unreadable, unwritable } from '../refusals.ts'
import { type PlacedChunk, SIZE_ELSEWHERE, walkChunks } from './chunks.ts'
import { encodeMarkers, existingMarkers, type WavMarker } from './cue.ts'

/** What a part of the new file is made of: bytes at hand, or a stretch of the source. */
type Piece = Buffer | { readonly from: number; readonly byteCount: number }

const CHUNK_HEADER_BYTES = 8
const FORM_HEADER_BYTES = 12
const DS64_BYTES = 28
const COPY_BYTES = 4 << 20

/**
 * Writes a copy of a WAV, RF64 or BW64 file with more markers, to a new path, and waits until it is on the disk. Every
 * other chunk and every byte of audio stays as it is; markers that are there already stay too. The source is only read.
 * A copy that passes 4 GiB becomes RF64 (EBU Tech 3306).
 */
export async function copyWithMarkers(
  path: string,
  outPath: string,
  markers: readonly WavMarker[],
  watch: Watch = {},
): Promise<void> {
  const source = openFile(path)
  try {
    const pieces = piecesOf(source, outPath, markers)
    const byteCount = pieces.reduce((sum, piece) => sum + lengthOf(piece), 0)
    refuseSmallDisk(outPath, byteCount)
    await writePieces(source, outPath, pieces, byteCount, watch)
  } finally {
    closeSync(source.fd)
  }
}

function piecesOf(source: OpenFile, outPath: string, markers: readonly WavMarker[]): readonly Piece[] {
  const name = readRange(source, 0, 4)
  const { sequence, chunksEndOffset } = walkChunks(source)
  const cue = sequence.find((chunk) => chunk.name === 'cue ')
  const lists = sequence.filter((chunk) => isLabelList(source, chunk))
  const existing = existingMarkers(
    cue === undefined ? null : bodyOf(source, cue),
    lists.map((chunk) => bodyOf(source, chunk)),
  )
  const encoded = encodeMarkers(outPath, markers, existing)
  const kept = sequence.filter((chunk) => chunk !== cue && !lists.includes(chunk) && chunk.name !== 'ds64')
  const form = Buffer.from(name).toString('latin1') as 'RIFF' | 'RF64' | 'BW64'
  const body: Piece[] = [
    ...kept.flatMap((chunk) => chunkPieces(source, chunk, form !== 'RIFF')),
    ...[header('cue ', encoded.cue.length), encoded.cue],
    ...[header('LIST', encoded.list.length), encoded.list],
  ]
  // What some program appended behind the form stays behind it.
  const tail = { from: chunksEndOffset, byteCount: Math.max(0, source.byteCount - chunksEndOffset) }
  return [...formPieces(source, form, sequence, body), tail]
}

/** The head of the form, with its long sizes where it needs them, and its body. */
function formPieces(
  source: OpenFile,
  form: 'RIFF' | 'RF64' | 'BW64',
  sequence: readonly PlacedChunk[],
  body: readonly Piece[],
): readonly Piece[] {
  const bodyBytes = body.reduce((sum, piece) => sum + lengthOf(piece), 0)
  const plainBytes = FORM_HEADER_BYTES - CHUNK_HEADER_BYTES + bodyBytes
  if (form === 'RIFF' && plainBytes < SIZE_ELSEWHERE) return [formHeader('RIFF', plainBytes), ...body]
  const told = sequence.find((chunk) => chunk.name === 'ds64')
  const data = sequence.find((chunk) => chunk.name === 'data') as PlacedChunk
  const sizes = told === undefined ? Buffer.alloc(DS64_BYTES) : bodyOf(source, told)
  sizes.writeBigUInt64LE(BigInt(plainBytes + CHUNK_HEADER_BYTES + sizes.length + (sizes.length % 2)), 0)
  sizes.writeBigUInt64LE(BigInt(presentBytes(source, data)), 8)
  const dataAt = body.findIndex((piece) => !('from' in piece) && piece.toString('latin1', 0, 4) === 'data')
  const longData = body.with(dataAt, header('data', SIZE_ELSEWHERE))
  const name = form === 'RIFF' ? 'RF64' : form
  return [formHeader(name, SIZE_ELSEWHERE), header('ds64', sizes.length), padded(sizes), ...longData]
}

function formHeader(name: string, byteCount: number): Buffer {
  return Buffer.concat([header(name, byteCount), Buffer.from('WAVE', 'latin1')])
}

function chunkPieces(source: OpenFile, chunk: PlacedChunk, isLong: boolean): readonly Piece[] {
  const byteCount = presentBytes(source, chunk)
  const stated = isLong && byteCount >= SIZE_ELSEWHERE ? SIZE_ELSEWHERE : byteCount
  const pieces: Piece[] = [header(chunk.name, stated), { from: chunk.bodyOffset, byteCount }]
  return byteCount % 2 === 0 ? pieces : [...pieces, Buffer.alloc(1)]
}

/** A chunk may promise more than the file has. */
function presentBytes(source: OpenFile, { bodyOffset, byteCount }: PlacedChunk): number {
  return Math.max(0, Math.min(byteCount, source.byteCount - bodyOffset))
}

function header(name: string, byteCount: number): Buffer {
  const bytes = Buffer.alloc(CHUNK_HEADER_BYTES)
  bytes.write(name, 0, 'latin1')
  bytes.writeUInt32LE(byteCount, 4)
  return bytes
}

function padded(bytes: Buffer): Buffer {
  return bytes.length % 2 === 0 ? bytes : Buffer.concat([bytes, Buffer.alloc(1)])
}

function bodyOf(source: OpenFile, chunk: PlacedChunk): Buffer {
  return Buffer.from(readRange(source, chunk.bodyOffset, presentBytes(source, chunk)))
}

function isLabelList(source: OpenFile, chunk: PlacedChunk): boolean {
  return chunk.name === 'LIST' && Buffer.from(readRange(source, chunk.bodyOffset, 4)).toString('latin1') === 'adtl'
}

function lengthOf(piece: Piece): number {
  return 'from' in piece ? piece.byteCount : piece.length
}

function refuseSmallDisk(path: string, byteCount: number): void {
  const disk = onSystem(path, () => statfsSync(dirname(path)))
  const free = disk.bavail * disk.bsize
  if (free < byteCount) throw unwritable('MEDIA_DISK_FULL', path, `${free} bytes free for a file of ${byteCount} bytes`)
}

async function writePieces(
  source: OpenFile,
  outPath: string,
  pieces: readonly Piece[],
  totalBytes: number,
  { cancellation, progress }: Watch,
): Promise<void> {
  const out = { path: outPath, fd: onSystem(outPath, () => openSync(outPath, 'wx')) }
  let at = 0
  try {
    for (const piece of pieces) {
      for (let done = 0; done < lengthOf(piece); done += COPY_BYTES) {
        if (cancellation?.aborted) throw new Cancelled('stopped by the user')
        const bytes = blockOf(source, piece, done)
        writeAll(out, bytes, at)
        at += bytes.length
        progress?.(at / totalBytes)
        // The event loop must see a signal between two blocks.
        await setImmediate()
      }
    }
    onSystem(outPath, () => fsyncSync(out.fd))
  } finally {
    closeSync(out.fd)
  }
}

function blockOf(source: OpenFile, piece: Piece, done: number): Uint8Array {
  if (!('from' in piece)) return piece.subarray(done, done + COPY_BYTES)
  const wanted = Math.min(COPY_BYTES, piece.byteCount - done)
  const bytes = readRange(source, piece.from + done, wanted)
  if (bytes.length === wanted) return bytes
  throw unreadable('MEDIA_FILE_CHANGED', source.path, `the end of the file ${wanted - bytes.length} bytes too early`)
}

function onSystem<T>(path: string, work: () => T): T {
  try {
    return work()
  } catch (error) {
    throw writeRefusal(path, error)
  }
}

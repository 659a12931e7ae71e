import * as fs from 'node:fs'
import { constants } from 'node:os'
import { unreadable, unwritable } from './refusals.ts'

/** A file open for reading at any byte; offsets are Numbers, exact to 2^53. */
export type OpenFile = { readonly path: string; readonly fd: number; readonly byteCount: number }

/** The code of a system error, e.g. `ENOSPC`; null for refusals and faults of our own, which pass unchanged. */
export function systemErrorCode(error: unknown): string | null {
  if (!(error instanceof Error && 'syscall' in error && 'code' in error)) return null
  const { errno } = error as NodeJS.ErrnoException
  // Node has no name for some numbers, such as that of a disk quota; the system has.
  const named = Object.entries(constants.errno).find(([, number]) => number === -(errno ?? 0))
  return named?.[0] ?? String(error.code)
}

/** The refusal that fits a system error of reading. */
export function readRefusal(path: string, error: unknown): unknown {
  const code = systemErrorCode(error)
  switch (code) {
    case null:
      return error
    case 'ENOENT':
    case 'ENOTDIR':
      return unreadable('MEDIA_NOT_FOUND', path, 'nothing at this path', error)
    case 'EISDIR':
      return unreadable('MEDIA_IS_FOLDER', path, 'a folder', error)
    case 'EACCES':
    case 'EPERM':
      return unreadable('MEDIA_NOT_READABLE', path, 'a file that this user may not read', error)
    case 'ELOOP':
      return unreadable('MEDIA_NOT_FOUND', path, 'links that lead back to themselves, and no file', error)
    case 'ENAMETOOLONG':
      return unreadable('MEDIA_NOT_FOUND', path, 'a name that is longer than the file system allows', error)
    default:
      return unreadable('MEDIA_READ_FAILED', path, `a system error (${code})`, error)
  }
}

/** The refusal that fits a system error of writing. */
export function writeRefusal(path: string, error: unknown): unknown {
  const code = systemErrorCode(error)
  switch (code) {
    case null:
      return error
    case 'EEXIST':
      return unwritable('MEDIA_OUTPUT_EXISTS', path, 'a file that is already there', error)
    case 'ENOENT':
    case 'ENOTDIR':
      return unwritable('MEDIA_OUTPUT_FOLDER_MISSING', path, 'no such folder, or no longer the file', error)
    case 'EACCES':
    case 'EPERM':
    case 'EROFS':
    case 'EISDIR':
      return unwritable('MEDIA_OUTPUT_READ_ONLY', path, 'a place where this user may not write', error)
    case 'EFBIG':
      return unwritable('MEDIA_OUTPUT_TOO_LARGE', path, 'a file system that does not take this size', error)
    case 'ENOSPC':
    case 'EDQUOT':
      return unwritable('MEDIA_DISK_FULL', path, 'no space left on the disk', error)
    default:
      return unwritable('MEDIA_WRITE_FAILED', path, `a system error (${code})`, error)
  }
}

/** Opens a file read-only; folders, devices and pipes are refused before anything is read from them. */
export function openFile(path: string): OpenFile {
  try {
    // The kind is asked by path first: opening a pipe would wait for its writer.
    refuseOtherThanFile(path, fs.statSync(path))
    const fd = fs.openSync(path, 'r')
    return { path, fd, byteCount: fs.fstatSync(fd).size }
  } catch (error) {
    throw readRefusal(path, error)
  }
}

function refuseOtherThanFile(path: string, stats: fs.Stats): void {
  if (stats.isDirectory()) throw unreadable('MEDIA_IS_FOLDER', path, 'a folder')
  if (!stats.isFile()) throw unreadable('MEDIA_NOT_A_FILE', path, 'a device, a pipe or a socket')
}

/** Reads up to `bytes.length` bytes from the offset on; gives back how many there were before the end of the file. */
export function readUpTo(file: { path: string; fd: number }, bytes: Uint8Array, byteOffset: number): number {
  let done = 0
  while (done < bytes.length) {
    let count: number
    try {
      count = fs.readSync(file.fd, bytes, done, bytes.length - done, byteOffset + done)
    } catch (error) {
      // A signal may interrupt a read on a network disk; nothing is lost by asking again.
      if (systemErrorCode(error) === 'EINTR') continue
      throw readRefusal(file.path, error)
    }
    if (count === 0) break
    done += count
  }
  return done
}

/** The bytes of a range, fewer where the file ends inside it. */
export function readRange(file: OpenFile, byteOffset: number, byteCount: number): Uint8Array {
  const available = Math.max(0, Math.min(byteCount, file.byteCount - byteOffset))
  const bytes = new Uint8Array(available)
  return bytes.subarray(0, readUpTo(file, bytes, byteOffset))
}

/** Writes all bytes at the offset, or refuses. */
export function writeAll(file: { path: string; fd: number }, bytes: Uint8Array, byteOffset: number): void {
  let done = 0
  while (done < bytes.length) {
    try {
      done += fs.writeSync(file.fd, bytes, done, bytes.length - done, byteOffset + done)
    } catch (error) {
      if (systemErrorCode(error) === 'EINTR') continue
      throw writeRefusal(file.path, error)
    }
  }
}

// A disk that fails when it is told to, for the built command alone.
import { execFileSync } from 'node:child_process'
import { mkdirSync, renameSync } from 'node:fs'
import { constants } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'

const root = fileURLToPath(new URL('../../', import.meta.url))
const LIBRARY = join(root, 'build/faulty-disk.so')
let isBuilt = false

/** Compiled once in each process that tests; put in place by a rename, since another may be using it. */
function library(): string {
  if (!isBuilt) {
    mkdirSync(join(root, 'build'), { recursive: true })
    const fresh = `${LIBRARY}.${process.pid}`
    execFileSync('gcc', ['-shared', '-fPIC', '-O1', '-o', fresh, join(root, 'test/testkit/faulty-disk.c'), '-ldl'])
    renameSync(fresh, LIBRARY)
    isBuilt = true
  }
  return LIBRARY
}

export type Fault = {
  readonly calls: readonly ('write' | 'read' | 'fsync' | 'ftruncate' | 'rename')[]
  readonly error: 'ENOSPC' | 'EIO' | 'EDQUOT' | 'EROFS'
  /** How much still works: bytes of reads and writes, else calls. */
  readonly after: number
}

/** The environment in which everything below a folder lies on a disk with this fault. */
export function faultyDisk(folder: string, { calls, error, after }: Fault): Readonly<Record<string, string>> {
  const code = String(constants.errno[error])
  return { ...below(folder), DISK_CALLS: calls.join(','), DISK_ERROR: code, DISK_AFTER: String(after) }
}

/** The environment in which the process dies at its n-th rename below a folder, just before it or just after. */
export function dyingAtRename(
  folder: string,
  at: number,
  moment: 'before' | 'after',
): Readonly<Record<string, string>> {
  return { ...below(folder), DISK_DIE_AT: String(at), DISK_DIE: moment }
}

/** The environment in which renames below a folder are counted: the file gets one byte for each. */
export function countingRenames(folder: string, countPath: string): Readonly<Record<string, string>> {
  return { ...below(folder), DISK_COUNT: countPath }
}

function below(folder: string): Readonly<Record<string, string>> {
  return { LD_PRELOAD: library(), DISK_UNDER: folder }
}

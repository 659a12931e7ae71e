import { closeSync, openSync, readFileSync, renameSync, rmSync, writeSync } from 'node:fs'
import { hostname } from 'node:os'
import { refuse } from './refusals.ts'

type Owner = { readonly pid: number; readonly host: string; readonly born: string | null }

const ATTEMPTS = 5
/** An owner signs right after it made the lock; a lock that stays unsigned for so long was made by one that died. */
const UNSIGNED_MS = 500
const LOOK_AGAIN_MS = 20

/**
 * Makes this process the only writer of a folder; the returned function lets go.
 * A lock whose owner no longer lives on this machine is taken over.
 */
export function lockFolder(lockPath: string, folder: string): () => void {
  for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
    if (create(lockPath)) return () => rmSync(lockPath, { force: true })
    const signature = readSignature(lockPath)
    const owner = ownerOf(signature)
    if (owner !== null && isAlive(owner)) {
      throw refuse(
        'JOBS_FOLDER_BUSY',
        `write into "${folder}"`,
        `another run (process ${owner.pid} on ${owner.host}) writing there`,
      )
    }
    if (signature !== null) removeDead(lockPath, signature)
  }
  throw refuse('JOBS_FOLDER_BUSY', `write into "${folder}"`, 'several runs starting there at once')
}

function create(lockPath: string): boolean {
  let descriptor: number
  try {
    descriptor = openSync(lockPath, 'wx')
  } catch (error) {
    if (codeOf(error) === 'EEXIST') return false
    throw error
  }
  try {
    const owner: Owner = { pid: process.pid, host: hostname(), born: bornAt(process.pid) }
    writeSync(descriptor, JSON.stringify(owner))
  } catch (error) {
    rmSync(lockPath, { force: true })
    throw error
  } finally {
    closeSync(descriptor)
  }
  return true
}

/** What the lock says, once its owner has had the time to sign; null where it is gone. */
function readSignature(lockPath: string): string | null {
  const pause = new Int32Array(new SharedArrayBuffer(Int32Array.BYTES_PER_ELEMENT))
  for (let waitedMs = 0; ; waitedMs += LOOK_AGAIN_MS) {
    const signature = readIfThere(lockPath)
    if (signature === null || ownerOf(signature) !== null || waitedMs >= UNSIGNED_MS) return signature
    Atomics.wait(pause, 0, 0, LOOK_AGAIN_MS)
  }
}

function ownerOf(signature: string | null): Owner | null {
  try {
    return signature === null ? null : (JSON.parse(signature) as Owner)
  } catch {
    return null
  }
}

/** Takes a dead owner's lock away. It is renamed first: of two that try, only one gets it, and sees what it got. */
function removeDead(lockPath: string, signature: string): void {
  const taken = `${lockPath}.${process.pid}`
  try {
    renameSync(lockPath, taken)
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return
    throw error
  }
  if (readIfThere(taken) === signature) rmSync(taken, { force: true })
  else renameSync(taken, lockPath)
}

function readIfThere(path: string): string | null {
  try {
    return readFileSync(path, 'utf8')
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null
    throw error
  }
}

function codeOf(error: unknown): string | undefined {
  return (error as NodeJS.ErrnoException).code
}

function isAlive(owner: Owner): boolean {
  // A folder on shared storage: nothing is known of a process on another machine, so its lock stands.
  if (owner.host !== hostname()) return true
  return isRunning(owner.pid) && owner.born === bornAt(owner.pid)
}

/** Whether a process of that number lives on this machine, whoever owns it. */
export function isRunning(pid: number): boolean {
  try {
    process.kill(pid, 0)
    return true
  } catch (error) {
    return codeOf(error) === 'EPERM'
  }
}

const START_TIME_FIELD = 19

/** When a process began, in the kernel's own ticks, so that a re-used process number is not taken for the owner. */
function bornAt(pid: number): string | null {
  try {
    const stat = readFileSync(`/proc/${pid}/stat`, 'utf8')
    // The second field is the command in brackets and may hold spaces; fields are counted after it.
    return stat.slice(stat.lastIndexOf(')') + 2).split(' ')[START_TIME_FIELD] ?? null
  } catch {
    return null
  }
}

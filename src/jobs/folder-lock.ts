import { closeSync, openSync, readFileSync, unlinkSync, writeSync } from 'node:fs'
import { hostname } from 'node:os'
import { refuse } from './refusals.ts'

type Owner = { readonly pid: number; readonly host: string; readonly born: string | null }

const ATTEMPTS = 5

/**
 * Makes this process the only writer of a folder; the returned function lets go.
 * A lock whose owner no longer lives on this machine is taken over.
 */
export function lockFolder(lockPath: string, folder: string): () => void {
  for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
    if (create(lockPath)) return () => unlinkSync(lockPath)
    const owner = readOwner(lockPath)
    if (owner !== null && isAlive(owner)) {
      throw refuse(
        'JOBS_FOLDER_BUSY',
        `write into "${folder}"`,
        `another run (process ${owner.pid} on ${owner.host}) writing there`,
      )
    }
    remove(lockPath)
  }
  throw refuse('JOBS_FOLDER_BUSY', `write into "${folder}"`, 'several runs starting there at once')
}

function create(lockPath: string): boolean {
  try {
    const descriptor = openSync(lockPath, 'wx')
    const owner: Owner = { pid: process.pid, host: hostname(), born: bornAt(process.pid) }
    writeSync(descriptor, JSON.stringify(owner))
    closeSync(descriptor)
    return true
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EEXIST') return false
    throw error
  }
}

function readOwner(lockPath: string): Owner | null {
  try {
    return JSON.parse(readFileSync(lockPath, 'utf8')) as Owner
  } catch {
    return null
  }
}

function remove(lockPath: string): void {
  try {
    unlinkSync(lockPath)
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'ENOENT') throw error
  }
}

function isAlive(owner: Owner): boolean {
  // A folder on shared storage: nothing is known of a process on another machine, so its lock stands.
  if (owner.host !== hostname()) return true
  try {
    process.kill(owner.pid, 0)
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM'
  }
  return owner.born === bornAt(owner.pid)
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

import { systemErrorCode } from '../media/index.ts'
import { type JobsRefusalCode, refuse } from './refusals.ts'

/** What the file system's "no" to an output means to the user. */
const MEANINGS: Readonly<Record<string, readonly [code: JobsRefusalCode, found: string]>> = {
  ENOSPC: ['JOBS_DISK_FULL', 'no space left on the disk'],
  EDQUOT: ['JOBS_DISK_FULL', 'the disk quota used up'],
  EACCES: ['JOBS_OUTPUT_NOT_WRITABLE', 'no permission to write there'],
  EPERM: ['JOBS_OUTPUT_NOT_WRITABLE', 'no permission to write there'],
  EROFS: ['JOBS_OUTPUT_NOT_WRITABLE', 'a read-only file system'],
  EISDIR: ['JOBS_OUTPUT_NOT_WRITABLE', 'a folder of that name'],
  ENOTDIR: ['JOBS_OUTPUT_NOT_A_FOLDER', 'a file where a folder is needed'],
  EEXIST: ['JOBS_OUTPUT_NOT_A_FOLDER', 'a file where a folder is needed'],
  ENAMETOOLONG: ['JOBS_OUTPUT_NOT_WRITABLE', 'a name that is too long for the file system'],
  ELOOP: ['JOBS_OUTPUT_NOT_WRITABLE', 'links that lead back to themselves'],
  ENOENT: ['JOBS_OUTPUT_NOT_WRITABLE', 'no such folder'],
}

/** Runs something that writes or reads what was written; an error of the file system becomes a refusal. */
export function onDisk<T>(action: 'write' | 'read', path: string, work: () => T): T {
  try {
    return work()
  } catch (error) {
    const reason = systemErrorCode(error)
    if (reason === null) throw error
    const [code, found] = MEANINGS[reason] ?? ['JOBS_DISK_FAILED', `a system error (${reason})`]
    throw refuse(code, `${action} "${path}"`, found, { cause: error })
  }
}

export function whileWriting<T>(path: string, write: () => T): T {
  return onDisk('write', path, write)
}

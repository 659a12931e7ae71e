import { Refusal } from '../domain/index.ts'
import { type JobsRefusalCode, refuse } from './refusals.ts'

/** What the file system's "no" to an output means to the user. */
const MEANINGS: Readonly<Record<string, readonly [code: JobsRefusalCode, found: string]>> = {
  ENOSPC: ['JOBS_DISK_FULL', 'no space left on the disk'],
  EDQUOT: ['JOBS_DISK_FULL', 'the disk quota used up'],
  EACCES: ['JOBS_OUTPUT_NOT_WRITABLE', 'no permission to write there'],
  EPERM: ['JOBS_OUTPUT_NOT_WRITABLE', 'no permission to write there'],
  EROFS: ['JOBS_OUTPUT_NOT_WRITABLE', 'a read-only file system'],
  ENOTDIR: ['JOBS_OUTPUT_NOT_A_FOLDER', 'a file where a folder is needed'],
  EEXIST: ['JOBS_OUTPUT_NOT_A_FOLDER', 'a file where a folder is needed'],
  ENOENT: ['JOBS_OUTPUT_NOT_WRITABLE', 'no such folder'],
}

/** Runs something that writes; an error of the file system becomes a refusal, anything else goes through. */
export function whileWriting<T>(path: string, write: () => T): T {
  try {
    return write()
  } catch (error) {
    const meaning = MEANINGS[(error as NodeJS.ErrnoException)?.code ?? '']
    if (meaning === undefined || error instanceof Refusal) throw error
    const [code, found] = meaning
    throw refuse(code, `write "${path}"`, found, { cause: error })
  }
}

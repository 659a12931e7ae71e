import { Refusal } from '../domain/index.ts'

type Sentence = Pick<ConstructorParameters<typeof Refusal>[0], 'code' | 'found' | 'wanted' | 'remedy'>

/** What the user reads when the file system says no to an output. */
const SENTENCES: Readonly<Record<string, Sentence>> = {
  ENOSPC: {
    code: 'JOBS_DISK_FULL',
    found: 'no space left on the disk',
    wanted: 'room for the deliverables and the scratch planes',
    remedy: 'Free some space or choose an output folder on another disk.',
  },
  EDQUOT: {
    code: 'JOBS_DISK_FULL',
    found: 'the disk quota used up',
    wanted: 'room for the deliverables and the scratch planes',
    remedy: 'Free some space or choose an output folder on another disk.',
  },
  EACCES: notWritable('no permission to write there'),
  EPERM: notWritable('no permission to write there'),
  EROFS: notWritable('a read-only file system'),
  ENOTDIR: {
    code: 'JOBS_OUTPUT_NOT_A_FOLDER',
    found: 'a file where a folder is needed',
    wanted: 'a folder',
    remedy: 'Name another output folder.',
  },
}

function notWritable(found: string): Sentence {
  return {
    code: 'JOBS_OUTPUT_NOT_WRITABLE',
    found,
    wanted: 'a folder that you may write to',
    remedy: 'Choose another output folder or change its permissions.',
  }
}

/** Runs something that writes; an error of the file system becomes a refusal, anything else goes through. */
export function whileWriting<T>(path: string, write: () => T): T {
  try {
    return write()
  } catch (error) {
    throw asRefusal(path, error)
  }
}

function asRefusal(path: string, error: unknown): unknown {
  const sentence = SENTENCES[(error as NodeJS.ErrnoException)?.code ?? '']
  if (sentence === undefined || error instanceof Refusal) return error
  return new Refusal({ ...sentence, action: `write "${path}"`, cause: error })
}

import { createHash } from 'node:crypto'
import { closeSync, createReadStream } from 'node:fs'
import { type Cancellation, Cancelled } from '../domain/index.ts'
import { openFile, readRefusal } from './file.ts'

const BLOCK_BYTES = 4 << 20

/** How long work is watched and stopped from outside. */
export type Watch = {
  /** Called with the share done, 0 to 1. */
  readonly progress?: ((share: number) => void) | undefined
  readonly cancellation?: Cancellation | undefined
}

/** SHA-256 of all bytes of a file, as 64 hex digits; the event loop stays free and memory does not depend on length. */
export async function sha256Of(path: string, watch: Watch = {}): Promise<string> {
  const file = openFile(path)
  const hash = createHash('sha256')
  let done = 0
  try {
    for await (const block of createReadStream(path, { fd: file.fd, autoClose: false, highWaterMark: BLOCK_BYTES })) {
      if (watch.cancellation?.aborted) throw new Cancelled('stopped by the user')
      hash.update(block)
      done += block.length
      watch.progress?.(Math.min(1, done / file.byteCount))
    }
  } catch (error) {
    throw readRefusal(path, error)
  } finally {
    closeSync(file.fd)
  }
  return hash.digest('hex')
}

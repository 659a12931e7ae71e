import { createHash } from 'node:crypto'
import { closeSync, read } from 'node:fs'
import { promisify } from 'node:util'
import { type Cancellation, Cancelled } from '../domain/index.ts'
import { openFile, readRefusal } from './file.ts'

/** Small enough to be hashed while it is in the processor's cache. */
const BLOCK_BYTES = 1 << 20

const readBlock = promisify(read)

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
  const block = Buffer.allocUnsafe(BLOCK_BYTES)
  let done = 0
  try {
    for (;;) {
      if (watch.cancellation?.aborted) throw new Cancelled('stopped by the user')
      const { bytesRead } = await readBlock(file.fd, block, 0, block.length, done)
      if (bytesRead === 0) break
      hash.update(block.subarray(0, bytesRead))
      done += bytesRead
      watch.progress?.(Math.min(1, done / file.byteCount))
    }
  } catch (error) {
    throw readRefusal(path, error)
  } finally {
    closeSync(file.fd)
  }
  return hash.digest('hex')
}

import { mkdtempSync, readdirSync, rmSync } from 'node:fs'
import { hostname, tmpdir } from 'node:os'
import { join } from 'node:path'
import { whileWriting } from './file-errors.ts'
import { isRunning } from './folder-lock.ts'

/** Scratch folders carry the machine and the process, so that those of dead runs are told from those in use. */
const NAME_START = `plimsoll-${hostname()}-`

/** A temporary folder that is made when it is first needed and removed at the end. */
export class ScratchFolder implements Disposable {
  #path: string | null = null

  get path(): string {
    this.#path ??= whileWriting(tmpdir(), () => {
      removeDead()
      return mkdtempSync(join(tmpdir(), `${NAME_START}${process.pid}-`))
    })
    return this.#path
  }

  [Symbol.dispose](): void {
    if (this.#path !== null) rmSync(this.#path, { recursive: true, force: true })
  }
}

/** Clears what runs left that were killed. */
function removeDead(): void {
  for (const name of readdirSync(tmpdir()).filter((entry) => entry.startsWith(NAME_START))) {
    const pid = Number.parseInt(name.slice(NAME_START.length), 10)
    if (Number.isNaN(pid) || isRunning(pid)) continue
    try {
      rmSync(join(tmpdir(), name), { recursive: true, force: true })
    } catch {
      // Another user's: that user's next run clears it.
    }
  }
}

import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'

/** A temporary folder that is made when it is first needed and removed at the end. */
export class ScratchFolder implements Disposable {
  #path: string | null = null

  get path(): string {
    this.#path ??= mkdtempSync(join(tmpdir(), 'plimsoll-'))
    return this.#path
  }

  [Symbol.dispose](): void {
    if (this.#path !== null) rmSync(this.#path, { recursive: true, force: true })
  }
}

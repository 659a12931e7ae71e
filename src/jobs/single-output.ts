import { closeSync, existsSync, fsyncSync, openSync, readdirSync, renameSync, rmSync } from 'node:fs'
import { basename, dirname, join, resolve } from 'node:path'
import { whileWriting } from './file-errors.ts'
import { refuse } from './refusals.ts'

/**
 * One output file outside a delivery folder. It is written beside its place as `NAME.PID.part` and put there by a
 * rename, so that a crash leaves the old file or the new one; the next run clears what a dead one left.
 */
export class SingleOutput implements Disposable {
  readonly path: string
  readonly partPath: string

  constructor(path: string, options: { readonly replaces: boolean; readonly sources: readonly string[] }) {
    this.path = path
    this.partPath = `${path}.${process.pid}.part`
    if (options.sources.some((source) => resolve(source) === resolve(path))) {
      throw refuse('JOBS_OUTPUT_IS_SOURCE', `write "${path}"`, 'a source under that name')
    }
    if (existsSync(path) && !options.replaces) {
      throw refuse('JOBS_OUTPUT_EXISTS', `write "${path}"`, 'a file there already')
    }
    whileWriting(path, () => removeDeadParts(path))
  }

  /** Puts the finished file in its place, under another name in the same folder where one is given. */
  place(name = basename(this.path)): void {
    whileWriting(this.path, () => {
      renameSync(this.partPath, join(dirname(this.path), name))
      const folder = openSync(dirname(this.path), 'r')
      fsyncSync(folder)
      closeSync(folder)
    })
  }

  [Symbol.dispose](): void {
    rmSync(this.partPath, { force: true })
  }
}

function removeDeadParts(path: string): void {
  const folder = dirname(path)
  for (const name of readdirSync(folder)) {
    const pid = name.startsWith(`${basename(path)}.`) ? /[.](\d+)[.]part$/.exec(name)?.[1] : undefined
    if (pid !== undefined && !isRunning(Number(pid))) rmSync(join(folder, name), { force: true })
  }
}

function isRunning(pid: number): boolean {
  try {
    process.kill(pid, 0)
    return true
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM'
  }
}

import { existsSync, readdirSync, renameSync, rmSync, statSync } from 'node:fs'
import { basename, dirname, join } from 'node:path'
import { syncFolder, writeDurably } from './durable.ts'
import { whileWriting } from './file-errors.ts'
import { isRunning } from './folder-lock.ts'
import { refuse } from './refusals.ts'
import { isSameFile } from './same-file.ts'

/**
 * One output file outside a delivery folder. It is written beside its place as `NAME.PID.part` and put there by a
 * rename, so that a crash leaves the old file or the new one; the next run clears what a dead one left.
 */
export class SingleOutput implements Disposable {
  readonly path: string
  readonly partPath: string
  /** Where the file may come to lie. */
  readonly places: readonly string[]

  /** @param otherNames names beside the path under which the file may be placed instead */
  constructor(
    path: string,
    options: {
      readonly replaces: boolean
      readonly sources: readonly string[]
      readonly otherNames?: readonly string[]
    },
  ) {
    this.path = path
    this.partPath = `${path}.${process.pid}.part`
    this.places = [path, ...(options.otherNames ?? []).map((name) => join(dirname(path), name))]
    whileWriting(path, () => {
      for (const place of this.places) refuseTaken(place, options)
      removeDeadParts(path)
      // A dead run may have had this number; and a name that is too long shows here, before any work.
      rmSync(this.partPath, { force: true })
    })
  }

  /** Writes a small text as the part. */
  writeText(text: string): void {
    whileWriting(this.path, () => writeDurably(this.partPath, text))
  }

  /** Takes away what lies in its place, so that nothing old lies beside what is placed before it. */
  clear(name = basename(this.path)): void {
    whileWriting(this.path, () => {
      rmSync(join(dirname(this.path), name), { force: true })
      syncFolder(dirname(this.path))
    })
  }

  /** Puts the finished file in its place, under another name in the same folder where one is given. */
  place(name = basename(this.path)): void {
    whileWriting(this.path, () => {
      renameSync(this.partPath, join(dirname(this.path), name))
      syncFolder(dirname(this.path))
    })
  }

  [Symbol.dispose](): void {
    rmSync(this.partPath, { force: true })
  }
}

/** Several outputs of one name would leave the last one alone. */
export function refuseOneName(outputs: readonly (SingleOutput | null)[]): void {
  const named = outputs.filter((output) => output !== null)
  for (const [index, { path, places }] of named.entries()) {
    const others = named.slice(0, index).flatMap((other) => other.places)
    if (!others.some((other) => places.some((place) => isSameFile(other, place)))) continue
    throw refuse('JOBS_OUTPUT_EXISTS', `write "${path}"`, 'another output of this run under that name', {
      remedy: 'Give each output a name of its own.',
    })
  }
}

function refuseTaken(place: string, { replaces, sources }: { replaces: boolean; sources: readonly string[] }): void {
  if (sources.some((source) => isSameFile(source, place))) {
    throw refuse('JOBS_OUTPUT_IS_SOURCE', `write "${place}"`, 'a source under that name')
  }
  if (!existsSync(place)) return
  if (statSync(place).isDirectory()) {
    throw refuse('JOBS_OUTPUT_EXISTS', `write "${place}"`, 'a folder there', { remedy: 'Name a file inside it.' })
  }
  if (!replaces) throw refuse('JOBS_OUTPUT_EXISTS', `write "${place}"`, 'a file there already')
}

function removeDeadParts(path: string): void {
  const folder = dirname(path)
  for (const name of readdirSync(folder)) {
    const pid = name.startsWith(`${basename(path)}.`) ? /[.](\d+)[.]part$/.exec(name)?.[1] : undefined
    if (pid !== undefined && !isRunning(Number(pid))) rmSync(join(folder, name), { force: true })
  }
}

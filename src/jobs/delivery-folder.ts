import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, rmdirSync, rmSync, statSync } from 'node:fs'
import { basename, dirname, join, resolve } from 'node:path'
import { type FrameRange, Refusal } from '../domain/index.ts'
import type { ManifestFile } from '../engine/index.ts'
import { syncFolder, writeDurably } from './durable.ts'
import { whileWriting } from './file-errors.ts'
import { lockFolder } from './folder-lock.ts'
import { refuse } from './refusals.ts'

const MANIFEST = 'manifest.json'
/** The document that holds all decisions of a delivery. */
export const PLAN = 'plan.json'
/** The manifest of a delivery that is decided but not yet in place: once it exists, the new delivery is the delivery. */
const COMMIT = '.plimsoll-commit.json'
const WORK = '.plimsoll-work'
const LOCK = '.plimsoll-lock'
/** A dead lock that was taken away by a run that died over it. */
const DEAD_LOCK = /^[.]plimsoll-lock[.]\d+$/

/**
 * A delivery on disk. Everything is written as `NAME.part` in a work folder inside it; the manifest is the commit
 * record. A crash leaves the old delivery or the new one, and the next opening finishes or clears what it left.
 */
export class DeliveryFolder {
  readonly path: string
  readonly #unlock: () => void
  /** The highest folder that this run made on the way; null where all were there. */
  readonly #firstMade: string | null

  private constructor(path: string, unlock: () => void, firstMade: string | null) {
    this.path = path
    this.#unlock = unlock
    this.#firstMade = firstMade
  }

  /** Makes the folder where it is missing, locks it and clears what a crash may have left. */
  static open(path: string): DeliveryFolder {
    return whileWriting(path, () => {
      const firstMade = mkdirSync(path, { recursive: true }) ?? null
      let unlock = (): void => {}
      try {
        unlock = lockFolder(join(path, LOCK), path)
        recoverDelivery(path)
        mkdirSync(join(path, WORK))
        return new DeliveryFolder(path, unlock, firstMade)
      } catch (error) {
        unlock()
        removeEmpty(path, firstMade)
        throw error
      }
    })
  }

  /** Where a deliverable or a scratch file lies until the commit. */
  partPath(name: string): string {
    return join(this.path, WORK, `${name}.part`)
  }

  /** A folder for what is not delivered; gone after the run. */
  get scratchPath(): string {
    return join(this.path, WORK)
  }

  /** The first of these names that is taken here, or null. */
  firstTaken(names: readonly string[]): string | null {
    return [MANIFEST, ...names].find((name) => existsSync(join(this.path, name))) ?? null
  }

  /** The first name at which a folder stands in the way of a file that is to be put there or taken away, or null. */
  firstBlocked(names: readonly string[]): string | null {
    const isFolder = (name: string) =>
      statSync(join(this.path, name), { throwIfNoEntry: false })?.isDirectory() ?? false
    return [MANIFEST, ...names, ...this.deliveredNames].find(isFolder) ?? null
  }

  /** The files of the delivery that lies here; a commit removes those that the new one does not have. */
  get deliveredNames(): readonly string[] {
    return listedFiles(join(this.path, MANIFEST))
  }

  /** Writes a small finished file as a part. */
  writePart(name: string, content: string | Uint8Array): void {
    whileWriting(this.path, () => writeDurably(this.partPath(name), content))
  }

  /** Puts a part beside the delivery, outside the manifest (a log, the page of a run that was not delivered). */
  placeBeside(name: string): void {
    whileWriting(this.path, () => renameSync(this.partPath(name), join(this.path, name)))
  }

  /** The same for what is not worth a refusal: the outcome stands already. */
  placeBesideIfPossible(name: string): void {
    try {
      this.placeBeside(name)
    } catch (error) {
      if (!(error instanceof Refusal)) throw error
    }
  }

  removeBeside(name: string): void {
    rmSync(join(this.path, name), { force: true })
  }

  /**
   * Makes the parts the delivery. `manifest` lists them as `files: [{ path }]`; parts must be complete and on disk.
   * The rename of the manifest to its commit name is the one moment at which the delivery changes.
   */
  commit(manifest: string): void {
    whileWriting(this.path, () => {
      writeDurably(this.partPath(MANIFEST), manifest)
      syncFolder(join(this.path, WORK))
      renameSync(this.partPath(MANIFEST), join(this.path, COMMIT))
    })
    try {
      syncFolder(this.path)
      finishCommit(this.path)
    } catch (error) {
      const found = `a system error (${(error as NodeJS.ErrnoException).code})`
      throw refuse('JOBS_COMMIT_UNFINISHED', `finish the delivery "${this.path}"`, found, { cause: error })
    }
  }

  /** Removes the work folder (and the delivery folder, where this run made it and nothing came of it) and unlocks. */
  close(): void {
    try {
      // A commit that the disk cut off is finished by the next opening, from the parts that still lie here.
      if (existsSync(join(this.path, COMMIT))) return
      whileWriting(this.path, () => rmSync(join(this.path, WORK), { recursive: true, force: true }))
    } finally {
      this.#unlock()
      removeEmpty(this.path, this.#firstMade)
    }
  }
}

/** Removes the folders that were made for nothing, from the lowest up to the first that was made. */
function removeEmpty(path: string, firstMade: string | null): void {
  if (firstMade === null) return
  for (let folder = resolve(path); readdirSync(folder).length === 0; folder = dirname(folder)) {
    rmdirSync(folder)
    if (folder === resolve(firstMade)) return
  }
}

/** Finishes or clears what a run that was cut off left here, if anything; refuses while another run writes there. */
export function finishInterrupted(path: string): void {
  const isLeft = (name: string): boolean => existsSync(join(path, name))
  if (![COMMIT, WORK, LOCK].some(isLeft)) return
  try {
    whileWriting(path, () => {
      const unlock = lockFolder(join(path, LOCK), path)
      recoverDelivery(path)
      unlock()
    })
  } catch (error) {
    // Where this user may only read, leftovers of a run that came to nothing do no harm.
    const isHarmless = error instanceof Refusal && error.code === 'JOBS_OUTPUT_NOT_WRITABLE' && !isLeft(COMMIT)
    if (!isHarmless) throw error
  }
}

/** The manifest of a delivery folder, or null where there is none that can be read. */
export async function readManifest(path: string): Promise<{ readonly files: readonly ManifestFile[] } | null> {
  // Loaded only here: who delivers needs no schema library.
  const { manifestDocument } = await import('../protocol/index.ts')
  const parsed = manifestDocument.safeParse(readJson(join(path, MANIFEST)))
  return parsed.success ? parsed.data : null
}

/** The plan of a delivery, as far as it tells what is measured and how the stereo stands beside the 5.1; null where there is none. */
export function readPlan(path: string): {
  readonly stereoGainDb?: number
  readonly settings?: { readonly frontSpread?: number; readonly anchor?: string; readonly stages?: string }
  readonly scenes?: readonly { readonly settings?: { readonly frontSpread?: number } }[]
  readonly programme?: readonly FrameRange[] | null
} | null {
  return readJson(join(path, PLAN))
}

function readJson<T>(path: string): T | null {
  try {
    return JSON.parse(readFileSync(path, 'utf8')) as T
  } catch {
    return null
  }
}

/** Brings a folder that a crash left behind to its old or its new delivery. Harmless where there is nothing to do. */
function recoverDelivery(path: string): void {
  if (existsSync(join(path, COMMIT))) finishCommit(path)
  rmSync(join(path, WORK), { recursive: true, force: true })
  for (const name of readdirSync(path)) if (DEAD_LOCK.test(name)) rmSync(join(path, name), { force: true })
}

/** The names that a manifest lists, or none where there is no readable manifest. */
function listedFiles(manifestPath: string): string[] {
  try {
    const { files } = JSON.parse(readFileSync(manifestPath, 'utf8')) as { files: { path: string }[] }
    // Only plain names: a manifest from elsewhere must not reach out of its folder.
    return files.map((file) => file.path).filter((name) => name === basename(name))
  } catch {
    return []
  }
}

/** May be cut off at any point and run again. */
function finishCommit(path: string): void {
  const names = listedFiles(join(path, COMMIT))
  for (const name of names) {
    const part = join(path, WORK, `${name}.part`)
    if (existsSync(part)) renameSync(part, join(path, name))
  }
  for (const old of listedFiles(join(path, MANIFEST))) {
    if (!names.includes(old)) rmSync(join(path, old), { force: true })
  }
  syncFolder(path)
  renameSync(join(path, COMMIT), join(path, MANIFEST))
  syncFolder(path)
}

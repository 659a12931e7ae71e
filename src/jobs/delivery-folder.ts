import {
  closeSync,
  existsSync,
  fsyncSync,
  mkdirSync,
  openSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmdirSync,
  rmSync,
  writeFileSync,
} from 'node:fs'
import { basename, join } from 'node:path'
import type { ManifestFile } from '../engine/index.ts'
import { whileWriting } from './file-errors.ts'
import { lockFolder } from './folder-lock.ts'

const MANIFEST = 'manifest.json'
/** The document that holds all decisions of a delivery. */
export const PLAN = 'plan.json'
/** The manifest of a delivery that is decided but not yet in place: once it exists, the new delivery is the delivery. */
const COMMIT = '.plimsoll-commit.json'
const WORK = '.plimsoll-work'
const LOCK = '.plimsoll-lock'

/**
 * A delivery on disk. Everything is written as `NAME.part` in a work folder inside it; the manifest is the commit
 * record. A crash leaves the old delivery or the new one, and the next opening finishes or clears what it left.
 */
export class DeliveryFolder {
  readonly path: string
  readonly #unlock: () => void
  readonly #wasMade: boolean

  private constructor(path: string, unlock: () => void, wasMade: boolean) {
    this.path = path
    this.#unlock = unlock
    this.#wasMade = wasMade
  }

  /** Makes the folder where it is missing, locks it and clears what a crash may have left. */
  static open(path: string): DeliveryFolder {
    return whileWriting(path, () => {
      const wasMade = mkdirSync(path, { recursive: true }) !== undefined
      const unlock = lockFolder(join(path, LOCK), path)
      const folder = new DeliveryFolder(path, unlock, wasMade)
      recoverDelivery(path)
      mkdirSync(join(path, WORK))
      return folder
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

  /** Writes a small finished file as a part. */
  writePart(name: string, text: string): void {
    whileWriting(this.path, () => writeDurably(this.partPath(name), text))
  }

  /** Puts a file beside the delivery, at once and outside the manifest (a log, the page of a run that was not delivered). */
  writeBeside(name: string, text: string): void {
    whileWriting(this.path, () => {
      writeDurably(this.partPath(name), text)
      renameSync(this.partPath(name), join(this.path, name))
    })
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
      syncFolder(this.path)
      finishCommit(this.path)
    })
  }

  /** Removes the work folder (and the delivery folder, where this run made it and nothing came of it) and unlocks. */
  close(): void {
    rmSync(join(this.path, WORK), { recursive: true, force: true })
    this.#unlock()
    if (this.#wasMade && readdirSync(this.path).length === 0) rmdirSync(this.path)
  }
}

/** Finishes a delivery that was cut off while it was put in place, if there is one; refuses while another run writes there. */
export function finishInterrupted(path: string): void {
  if (!existsSync(join(path, COMMIT))) return
  whileWriting(path, () => {
    const unlock = lockFolder(join(path, LOCK), path)
    recoverDelivery(path)
    unlock()
  })
}

/** The manifest of a delivery folder, or null where there is none. */
export function readManifest(path: string): { readonly files: readonly ManifestFile[] } | null {
  return readJson(join(path, MANIFEST))
}

/** The plan of a delivery, as far as it tells how the stereo stands beside the 5.1; null where there is none. */
export function readPlan(
  path: string,
): { readonly stereoGainDb?: number; readonly settings?: { readonly frontSpread?: number } } | null {
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

function writeDurably(path: string, text: string): void {
  const descriptor = openSync(path, 'w')
  try {
    writeFileSync(descriptor, text)
    fsyncSync(descriptor)
  } finally {
    closeSync(descriptor)
  }
}

function syncFolder(path: string): void {
  const descriptor = openSync(path, 'r')
  try {
    fsyncSync(descriptor)
  } finally {
    closeSync(descriptor)
  }
}

import { createHash } from 'node:crypto'
import { mkdirSync, readdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { basename, dirname, join } from 'node:path'
import { deserialize, serialize } from 'node:v8'
import { sha256Of } from '../media/index.ts'
import type { ShelfEntry, TitleState } from '../protocol/index.ts'
import { programIdentity } from './program-identity.ts'
import type { TaskResults } from './remembering-crew.ts'
import type { ShelvedTitle } from './shelf-folder.ts'

/** How a title stood when it was last measured. */
export type Standing = { readonly state: TitleState; readonly measured: NonNullable<ShelfEntry['measured']> }

type Note = {
  readonly program: string
  /** Of the title's files when they were measured. */
  readonly stamp: string
  readonly standing: Standing | null
  /** The file that holds what was measured. */
  readonly results: string | null
}

/** Hashes of files by their paths, good for as long as size and time stay the same. */
type Hashes = Readonly<Record<string, { readonly stamp: string; readonly sha256: string }>>

const FOLDER = '.plimsoll-cache'
const NOTE_ENDING = '.json'
const HASHES = 'hashes'
const RESULTS_ENDING = '.measured'
const SHA256_BYTES = 32

/**
 * What is remembered of a title on disk, in a hidden folder beside it: how it stood, and what was measured, by the
 * content of its source. All of it can be thrown away at any time, and whatever is broken or of another program is as
 * if it were not there. Where nothing can be written, nothing is remembered.
 */
export class TitleMemory {
  readonly #folder: string
  readonly #notePath: string
  #note: Note

  constructor({ path }: Pick<ShelvedTitle, 'path'>) {
    this.#folder = join(dirname(path), FOLDER)
    this.#notePath = join(this.#folder, basename(path) + NOTE_ENDING)
    const note = readNote(this.#notePath)
    this.#note = note.program === programIdentity() ? note : EMPTY
  }

  /** How the title stood when its files had this stamp; null where nobody knows. */
  standing(stamp: string): Standing | null {
    return this.#note.stamp === stamp ? this.#note.standing : null
  }

  keepStanding(stamp: string, standing: Standing): void {
    this.#write({ stamp, standing })
  }

  /** The hash of a file, computed once for as long as its size and time stay the same. */
  readonly hashOf = async (path: string, signal?: AbortSignal): Promise<string> => {
    const { size, mtimeMs } = statSync(path)
    const stamp = `${size} ${mtimeMs}`
    const hashesPath = join(this.#folder, HASHES)
    const noted = readJsonOr<Hashes>(hashesPath, {})[path]
    if (noted?.stamp === stamp) return noted.sha256
    const sha256 = await sha256Of(path, { cancellation: signal })
    this.#place(hashesPath, JSON.stringify({ ...readJsonOr<Hashes>(hashesPath, {}), [path]: { stamp, sha256 } }))
    return sha256
  }

  /**
   * What was measured of these sources as they are read.
   * @param reading everything besides their bytes that the results depend on
   */
  async results(
    sources: readonly string[],
    reading: string,
    signal: AbortSignal | undefined,
  ): Promise<{ readonly known: TaskResults; readonly keep: () => void }> {
    const hash = createHash('sha256').update(`${programIdentity()} ${reading}`)
    for (const path of sources) hash.update(await this.hashOf(path, signal))
    const name = hash.digest('hex').slice(0, 32) + RESULTS_ENDING
    const known = readResults(join(this.#folder, name))
    if (known.size > 0 && this.#note.results !== name) this.#write({ results: name })
    return { known, keep: () => this.#keepResults(name, known) }
  }

  #keepResults(name: string, results: TaskResults): void {
    const bytes = serialize(results)
    const sum = createHash('sha256').update(bytes).digest()
    this.#place(join(this.#folder, name), Buffer.concat([sum, bytes]))
    this.#write({ results: name })
    this.#clear()
  }

  #write(changed: Partial<Note>): void {
    this.#note = { ...this.#note, ...changed, program: programIdentity() }
    this.#place(this.#notePath, JSON.stringify(this.#note))
  }

  #place(path: string, bytes: Buffer | string): void {
    const part = `${path}.${process.pid}.part`
    try {
      mkdirSync(this.#folder, { recursive: true })
      writeFileSync(part, bytes)
      renameSync(part, path)
    } catch {
      // A folder that cannot be written to is measured in again the next time.
      rmSync(part, { force: true })
    }
  }

  /** Takes away what was measured of sources that no note names any longer. */
  #clear(): void {
    try {
      const names = readdirSync(this.#folder)
      const notes = names.filter((name) => name.endsWith(NOTE_ENDING)).map((name) => readNote(join(this.#folder, name)))
      const unnamed = names.filter(
        (name) => name.endsWith(RESULTS_ENDING) && notes.every((note) => note.results !== name),
      )
      for (const name of unnamed) rmSync(join(this.#folder, name), { force: true })
    } catch {
      // What stays here too long only takes room.
    }
  }
}

const EMPTY: Note = { program: '', stamp: '', standing: null, results: null }

function readNote(path: string): Note {
  return { ...EMPTY, ...readJsonOr<Partial<Note>>(path, {}) }
}

function readJsonOr<T>(path: string, otherwise: T): T {
  try {
    return JSON.parse(readFileSync(path, 'utf8')) as T
  } catch {
    return otherwise
  }
}

function readResults(path: string): TaskResults {
  try {
    const bytes = readFileSync(path)
    const told = bytes.subarray(0, SHA256_BYTES)
    const rest = bytes.subarray(SHA256_BYTES)
    if (!createHash('sha256').update(rest).digest().equals(told)) return new Map()
    return deserialize(rest) as TaskResults
  } catch {
    return new Map()
  }
}

import { closeSync, type Dirent, existsSync, openSync, readdirSync, readFileSync, readSync } from 'node:fs'
import { basename, dirname, extname, join, relative, resolve, sep } from 'node:path'
import { titleIdOf } from '../engine/index.ts'
import { refuse } from './refusals.ts'

/** A title as it lies in a folder: a sheet, or a file that no sheet names. */
export type ShelvedTitle = {
  /** Path from the folder, with `/` between names. */
  readonly id: string
  readonly path: string
  readonly isSheet: boolean
  readonly sheetPath: string
  readonly name: string
  /** Names its delivery's folder. */
  readonly titleId: string
  /** The files that it is read from: its sheet, if it has one, and its sources. */
  readonly files: readonly string[]
}

/** Endings of the files that a shelf looks at. */
export const AUDIO: ReadonlySet<string> = new Set(['.wav', '.bwf', '.rf64', '.bw64', '.flac'])
const SHEET_ENDING = '.sheet.json'
/** A sheet says that it is one near its beginning. */
const OPENING_BYTES = 512

/** The titles of a folder and of the folders in it, in the order of their names; deliveries are not among them. */
export function titlesIn(folder: string): readonly ShelvedTitle[] {
  const paths = [folder, ...subfolders(folder)].flatMap((place) =>
    entriesOf(place)
      .filter((entry) => entry.isFile() && !entry.name.startsWith('.'))
      .map(({ name }) => join(place, name)),
  )
  const sheets = paths.filter((path) => extname(path) === '.json' && opensAsSheet(path))
  const named = new Set(sheets.flatMap(sourcesOf))
  const files = paths.filter((path) => AUDIO.has(extname(path).toLowerCase()) && !named.has(resolve(path)))
  return [...sheets, ...files]
    .map((path) => shelved(folder, path, sheets.includes(path)))
    .toSorted((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : 0))
}

function shelved(folder: string, path: string, isSheet: boolean): ShelvedTitle {
  const stem = basename(path, isSheet && path.endsWith(SHEET_ENDING) ? SHEET_ENDING : extname(path))
  return {
    id: relative(folder, path).split(sep).join('/'),
    path,
    isSheet,
    sheetPath: isSheet ? path : join(dirname(path), stem + SHEET_ENDING),
    name: titleOf(path, isSheet, 'name') ?? stem,
    titleId: titleIdOf(titleOf(path, isSheet, 'id') ?? stem),
    files: isSheet ? [path, ...sourcesOf(path)] : [path],
  }
}

function subfolders(folder: string): readonly string[] {
  return entriesOf(folder)
    .filter((entry) => entry.isDirectory() && !entry.name.startsWith('.'))
    .map(({ name }) => join(folder, name))
    .filter((place) => !existsSync(join(place, 'manifest.json')))
}

function entriesOf(folder: string): readonly Dirent[] {
  try {
    return readdirSync(folder, { withFileTypes: true })
  } catch (error) {
    throw refuse('JOBS_SHELF_FOLDER', `open the shelf "${folder}"`, 'a folder that cannot be read', { cause: error })
  }
}

function opensAsSheet(path: string): boolean {
  const bytes = Buffer.alloc(OPENING_BYTES)
  const file = openSync(path, 'r')
  try {
    const count = readSync(file, bytes, 0, OPENING_BYTES, 0)
    return bytes.toString('utf8', 0, count).includes('"sheetVersion"')
  } finally {
    closeSync(file)
  }
}

/** A sheet that is no valid JSON is listed all the same: opening it tells what is wrong. */
function parsed(path: string): { readonly title?: Readonly<Record<string, unknown>>; readonly sources?: unknown } {
  try {
    return JSON.parse(readFileSync(path, 'utf8')) ?? {}
  } catch {
    return {}
  }
}

/** What a sheet calls its title; null where there is no sheet, or it does not say. */
function titleOf(path: string, isSheet: boolean, field: 'id' | 'name'): string | null {
  const said = isSheet ? parsed(path).title?.[field] : null
  return typeof said === 'string' ? said : null
}

function sourcesOf(path: string): readonly string[] {
  const { sources } = parsed(path)
  if (!Array.isArray(sources)) return []
  return sources.flatMap((source: { readonly path?: unknown } | null) =>
    typeof source?.path === 'string' ? [resolve(dirname(path), source.path)] : [],
  )
}

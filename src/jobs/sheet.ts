import { closeSync, openSync, readFileSync, readSync } from 'node:fs'
import { dirname, resolve } from 'node:path'
import type { FileProblem, Sheet } from '../domain/index.ts'
import { refuse } from './refusals.ts'

/** A sheet and the folder that its paths are relative to. */
export type SheetOnDisk = { readonly path: string; readonly sheet: Sheet }

/** How far into a file its first character is looked for. */
const OPENING_BYTES = 64

/** Whether a file is a sheet rather than audio, by its first character. */
export function isSheet(path: string): boolean {
  const bytes = Buffer.alloc(OPENING_BYTES)
  try {
    const file = openSync(path, 'r')
    try {
      const count = readSync(file, bytes, 0, OPENING_BYTES, 0)
      return /^\uFEFF?\s*\{/.test(bytes.toString('utf8', 0, count))
    } finally {
      closeSync(file)
    }
  } catch {
    // What cannot be read at all is refused by whoever opens it as audio, with all the particulars.
    return false
  }
}

/** Reads a sheet, or refuses it with every slip in it. */
export async function readSheet(path: string): Promise<SheetOnDisk> {
  const { readSheetFile } = await import('../protocol/index.ts')
  const reading = readSheetFile(parseJson(path))
  if (reading.problems !== null) throw sheetRefusal(path, reading.problems)
  return { path, sheet: reading.sheet }
}

export function sheetRefusal(path: string, problems: readonly FileProblem[]): Error {
  return refuse('JOBS_SHEET_INVALID', `use the sheet "${path}"`, listProblems(problems))
}

/** Every problem of a file that a user wrote, a line each. */
export function listProblems(problems: readonly FileProblem[]): string {
  const lines = problems.map(
    ({ path, found, needed, nearest }) =>
      `${path}: ${found}; need ${needed}${nearest === null ? '' : ` (did you mean "${nearest}"?)`}`,
  )
  const count = lines.length === 1 ? 'a problem' : `${lines.length} problems`
  return `${count}:\n  ${lines.join('\n  ')}`
}

/** A path that a sheet names. */
export function besideSheet(sheetPath: string, path: string): string {
  return resolve(dirname(sheetPath), path)
}

function parseJson(path: string): unknown {
  return readJson(path, (found, cause) => refuse('JOBS_SHEET_INVALID', `use the sheet "${path}"`, found, { cause }))
}

/** Reads a file that a user wrote as JSON; `refusal` is told what was found in its place. */
export function readJson(path: string, refusal: (found: string, cause: unknown) => Error): unknown {
  let text = ''
  try {
    text = readFileSync(path, 'utf8').replace(/^\uFEFF/, '')
    return JSON.parse(text)
  } catch (error) {
    const isParsed = error instanceof SyntaxError
    const isText = !text.includes('\0')
    const found = isParsed
      ? isText
        ? `no valid JSON (${error.message})`
        : 'a file that is no text'
      : 'a file that cannot be read'
    throw refusal(found, error)
  }
}

import { constants, copyFileSync, createWriteStream, linkSync, mkdirSync, statSync } from 'node:fs'
import { basename, dirname, extname, join, resolve } from 'node:path'
import { Readable } from 'node:stream'
import { pipeline } from 'node:stream/promises'
import type { ReadableStream } from 'node:stream/web'
import { whileWriting } from './file-errors.ts'
import { freshSheet } from './fresh-sheet.ts'
import { PICTURES } from './pictures.ts'
import { refuse } from './refusals.ts'
import { ScratchFolder } from './scratch.ts'
import { AUDIO, titlesIn } from './shelf-folder.ts'
import { SingleOutput } from './single-output.ts'
import { nameTitle, openTitle } from './title.ts'

/** What a folder on a shelf may be called: a plain name, hidden nowhere. */
const PLAIN_NAME = /^[^./\\\0][^/\\\0]*$/

/**
 * Takes a file in, as its bytes come; it appears under its name when it is whole, and never in place of another.
 * @param name with at most one folder before it
 * @param byteCount how many there have to be; null where nobody said
 */
export async function takeIn(
  folder: string,
  name: string,
  bytes: ReadableStream<Uint8Array>,
  byteCount: number | null,
): Promise<void> {
  const parts = name.split('/')
  const isTaken = parts.length <= 2 && parts.every((part) => PLAIN_NAME.test(part))
  const ending = extname(name).toLowerCase()
  if (!isTaken || !(AUDIO.has(ending) || PICTURES.has(ending) || ending === '.json'))
    throw refuse('JOBS_ADD_NAME', `add "${name}"`, `"${name}"`)
  const path = join(folder, ...parts)
  whileWriting(path, () => mkdirSync(dirname(path), { recursive: true }))
  using output = new SingleOutput(path, { replaces: false, sources: [] })
  const cut = (cause?: unknown) => refuse('JOBS_ADD_CUT', `add "${name}"`, 'only a part of it', { cause })
  const file = createWriteStream(output.partPath, { flags: 'wx' })
  await pipeline(Readable.fromWeb(bytes), file).catch((error: NodeJS.ErrnoException) => {
    if (error.syscall !== 'write' && error.syscall !== 'open') throw cut(error)
    whileWriting(path, () => {
      throw error
    })
  })
  if (byteCount !== null && statSync(output.partPath).size !== byteCount) throw cut()
  whileWriting(path, () => placeBeside(output.partPath, path))
}

/** Unlike a rename, neither way takes the place of a file that came meanwhile. */
function placeBeside(partPath: string, path: string): void {
  try {
    linkSync(partPath, path)
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EEXIST') throw taken(path)
    // Some file systems know no links.
    copyFileSync(partPath, path, constants.COPYFILE_EXCL)
  }
}

function taken(path: string): Error {
  return refuse('JOBS_OUTPUT_EXISTS', `write "${path}"`, 'a file there already', {
    remedy: 'Give the file another name first.',
  })
}

/**
 * Puts a file of this machine, or every master of a folder, on the shelf where it lies: by a sheet that names it.
 * @returns how many there are
 */
export async function adopt(folder: string, typed: string): Promise<number> {
  const path = resolve(folder, typed.trim())
  const stat = statSync(path, { throwIfNoEntry: false })
  if (typed.trim() === '' || stat === undefined) throw refuse('JOBS_ADD_PATH', `add "${typed}"`, 'nothing there')
  const masters = stat.isDirectory()
    ? titlesIn(path)
        .filter(({ isSheet }) => !isSheet)
        .map((title) => title.path)
    : [path]
  if (masters.length === 0) throw refuse('JOBS_ADD_PATH', `add "${typed}"`, 'a folder without masters')
  for (const master of masters) await adoptFile(folder, master)
  return masters.length
}

async function adoptFile(folder: string, path: string): Promise<void> {
  using scratch = new ScratchFolder()
  using output = new SingleOutput(join(folder, `${basename(path, extname(path))}.sheet.json`), {
    replaces: false,
    sources: [path],
  })
  const title = await openTitle(await nameTitle([path]), () => scratch.path, {})
  const { sheetJson } = await import('../protocol/index.ts')
  output.writeText(sheetJson(await freshSheet(title, output.path, {})))
  placeBeside(output.partPath, output.path)
}

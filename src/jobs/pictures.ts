import { readdirSync } from 'node:fs'
import { basename, dirname, extname, join } from 'node:path'
import { type PictureFile, readPicture } from '../media/index.ts'
import type { ShelvedTitle } from './shelf-folder.ts'

/** A file with the picture of a title. */
export type TitlePicture = PictureFile & { readonly path: string; readonly name: string }

/** Endings of the files with pictures that a shelf takes in. */
export const PICTURES: ReadonlySet<string> = new Set(['.mp4', '.m4v', '.mov', '.mkv', '.webm', '.mxf'])

const SHEET_ENDING = '.sheet.json'

/**
 * The pictures of a title: files beside its sheet or its source that are called as one of them is and have moving
 * pictures in them. What a file is its bytes say; one that cannot be read is none.
 */
export function picturesOf({ sheetPath, path, files }: Pick<ShelvedTitle, 'sheetPath' | 'path' | 'files'>) {
  const places = new Set([sheetPath, path, ...files].map((file) => join(dirname(file), stemOf(file))))
  const paths = [...places].flatMap((place) => besides(place))
  return paths.flatMap((one): readonly TitlePicture[] => {
    const found = readOr(one)
    return found === null ? [] : [{ ...found, path: one, name: basename(one) }]
  })
}

/** The files whose names differ from this only by their ending, in the order of their names. */
function besides(place: string): readonly string[] {
  const folder = dirname(place)
  try {
    return readdirSync(folder, { withFileTypes: true })
      .filter((entry) => entry.isFile() && stemOf(entry.name) === basename(place))
      .map(({ name }) => join(folder, name))
      .toSorted()
  } catch {
    return []
  }
}

function stemOf(path: string): string {
  return basename(path, path.endsWith(SHEET_ENDING) ? SHEET_ENDING : extname(path))
}

function readOr(path: string): PictureFile | null {
  try {
    return readPicture(path)
  } catch {
    return null
  }
}

import type { Sheet } from '../domain/index.ts'
import { ScratchFolder } from './scratch.ts'
import { readSheet } from './sheet.ts'
import { nameTitle, openTitle } from './title.ts'

/** Checks a sheet with everything that it names: words, files, hashes, spec, and times on the frames. */
export async function checkSheet(path: string, signal: AbortSignal | undefined): Promise<Sheet> {
  using scratch = new ScratchFolder()
  const { sheet } = await readSheet(path)
  await openTitle(await nameTitle([path]), () => scratch.path, { signal })
  return sheet
}

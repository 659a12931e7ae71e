import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { wavShape } from './outside.ts'

/** The words of one of the 24-bit files of a delivery, interleaved, as they lie in it. */
export function deliveredWords(folder: string, role: string): (index: number) => number {
  const manifest = JSON.parse(readFileSync(join(folder, 'manifest.json'), 'utf8'))
  const { path } = manifest.files.find((file: { readonly role: string }) => file.role === role)
  const file = readFileSync(join(folder, path))
  const { dataByteOffset } = wavShape(join(folder, path))
  return (index) => file.readIntLE(dataByteOffset + 3 * index, 3)
}

import { createHash } from 'node:crypto'
import { readdirSync, readFileSync } from 'node:fs'
import { compileKernels } from './kernels.ts'
import { TOOL_VERSION } from './tool.ts'

let identity: string | null = null

/** Tells this program from any other that may measure otherwise: its version, its kernels and the code that works. */
export function programIdentity(): string {
  if (identity !== null) return identity
  const folder = new URL('../jobs/', import.meta.url)
  const hash = createHash('sha256').update(`${TOOL_VERSION} ${process.version} ${compileKernels().sha256}`)
  for (const name of readdirSync(folder).toSorted()) hash.update(name).update(readFileSync(new URL(name, folder)))
  identity = hash.digest('hex')
  return identity
}

// Bundles the command line and its worker thread: a start reads a few files instead of two hundred.
import { rmSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { build } from 'esbuild'

const root = fileURLToPath(new URL('..', import.meta.url))
rmSync(`${root}dist`, { recursive: true, force: true })
await build({
  absWorkingDir: root,
  entryPoints: ['src/cli/main.ts', 'src/jobs/crew-worker.ts'],
  outbase: 'src',
  outdir: 'dist',
  bundle: true,
  splitting: true,
  // Beside the worker, so that addresses relative to a module hold in a chunk too.
  chunkNames: 'jobs/chunk-[hash]',
  packages: 'external',
  platform: 'node',
  format: 'esm',
  target: 'node20.19',
  sourcemap: true,
  logLevel: 'warning',
})

// Compiles the AssemblyScript kernels to build/kernels.wasm. Memory is imported: each user sizes it once, it never grows.
import { spawnSync } from 'node:child_process'
import { mkdirSync } from 'node:fs'
import { fileURLToPath } from 'node:url'

const root = fileURLToPath(new URL('..', import.meta.url))
mkdirSync(`${root}build`, { recursive: true })
const asc = spawnSync(
  process.execPath,
  [
    `${root}node_modules/assemblyscript/bin/asc.js`,
    'src/dsp/assembly/index.ts',
    '-O3',
    '--noAssert',
    '--enable',
    'simd',
    '--runtime',
    'stub',
    '--importMemory',
    '--initialMemory',
    '1',
    '--outFile',
    'build/kernels.wasm',
  ],
  { cwd: root, stdio: 'inherit' },
)
process.exit(asc.status ?? 1)

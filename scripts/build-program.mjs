// Bundles the command line and its worker thread: a start reads a few files instead of two hundred. Bundles the desk's
// page and the script of the report's. Puts the speech detector's model where the program finds it.
import { createHash } from 'node:crypto'
import { copyFileSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { build } from 'esbuild'

const root = fileURLToPath(new URL('..', import.meta.url))

/** The file that src/domain/speech.ts names by the same hash. */
const SPEECH_MODEL = 'node_modules/@ricky0123/vad-web/dist/silero_vad_v6.onnx'
const SPEECH_MODEL_SHA256 = '1a153a22f4509e292a94e67d6f9b85e8deb25b4988682b7e174c65279d8788e3'

function copySpeechModel() {
  const model = readFileSync(`${root}${SPEECH_MODEL}`)
  const sha256 = createHash('sha256').update(model).digest('hex')
  if (sha256 !== SPEECH_MODEL_SHA256) throw new Error(`${SPEECH_MODEL} is not the model that was tested: ${sha256}`)
  mkdirSync(`${root}build`, { recursive: true })
  writeFileSync(`${root}build/speech-model.onnx`, model)
}

copySpeechModel()
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

rmSync(`${root}build/web`, { recursive: true, force: true })
await build({
  absWorkingDir: root,
  entryPoints: [
    { in: 'src/web/report-reading.ts', out: 'report-reading' },
    { in: 'src/web/desk/main.tsx', out: 'desk/desk' },
    { in: 'src/web/desk/desk.css', out: 'desk/desk' },
    { in: 'src/web/listen/player-worklet.ts', out: 'desk/player' },
    { in: 'src/web/listen/live-worker.ts', out: 'desk/live' },
  ],
  outdir: 'build/web',
  bundle: true,
  external: ['*.woff2'],
  platform: 'browser',
  format: 'esm',
  target: 'es2023',
  jsx: 'automatic',
  minify: true,
  define: { 'process.env.NODE_ENV': '"production"' },
  sourcemap: false,
  logLevel: 'warning',
})
for (const name of ['index.html', 'mark.svg'])
  copyFileSync(`${root}src/web/desk/${name}`, `${root}build/web/desk/${name}`)

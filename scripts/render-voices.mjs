// Renders the demo's spoken lines once, with the speech synthesiser that Debian carries (espeak-ng, sox and flac are needed).
// The results are stored in demo/voices, so that the demo itself needs none of them. Run it with: npx tsx scripts/render-voices.mjs
import { spawnSync } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { LINES } from '../demo/voices/lines.ts'

const scratch = mkdtempSync(join(tmpdir(), 'voices-'))

function run(program, args) {
  const { status, stderr } = spawnSync(program, args, { encoding: 'utf8' })
  if (status !== 0) throw new Error(`${program} ended with ${status}: ${stderr}`)
}

for (const [name, { voice, pitch, wordsPerMinute, text }] of Object.entries(LINES)) {
  const spoken = join(scratch, `${name}.wav`)
  const small = join(scratch, `${name}-small.wav`)
  run('espeak-ng', ['-v', voice, '-p', `${pitch}`, '-s', `${wordsPerMinute}`, '-a', '100', '-w', spoken, text])
  run('sox', [
    '-R',
    spoken,
    '-b',
    '16',
    small,
    'silence',
    '1',
    '0.01',
    '0.5%',
    'gain',
    '-n',
    '-3',
    'rate',
    '-v',
    '16000',
    'dither',
    '-p',
    '11',
  ])
  run('flac', ['--silent', '--best', '--force', '--no-padding', '-o', `demo/voices/${name}.flac`, small])
}
rmSync(scratch, { recursive: true })

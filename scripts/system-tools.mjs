// What the tests use of the system: peers to compare with and real recordings. The product itself needs none of it.
import { spawnSync } from 'node:child_process'
import { accessSync, constants, existsSync } from 'node:fs'
import { delimiter, join } from 'node:path'
import { run } from './ready.mjs'

/** A thing that must be there and the Debian package that brings it. Things are probed, not package names. */
const NEEDS = [
  ['program ffmpeg', 'ffmpeg'],
  ['program chromium', 'chromium'],
  ['program gcc', 'gcc'],
  ['file /usr/include/stdio.h', 'libc6-dev'],
  ['file /usr/include/ebur128.h', 'libebur128-dev'],
  ['file /usr/include/sndfile.h', 'libsndfile1-dev'],
  ['program sndfile-info', 'sndfile-programs'],
  ['program sox', 'sox'],
  ['program pdftotext', 'poppler-utils'],
  ['program flac', 'flac'],
  ['python numpy', 'python3-numpy'],
  ['python scipy', 'python3-scipy'],
  ['program espeak-ng', 'espeak-ng'],
  ['program fluidsynth', 'fluidsynth'],
  ['file /usr/share/sounds/sf2/FluidR3_GM.sf2', 'fluid-soundfont-gm'],
  ['file /usr/share/games/singularity/music', 'singularity-music'],
  ['file /usr/share/asterisk/sounds/en_US_f_Allison', 'asterisk-core-sounds-en-wav'],
  ['file /usr/share/pocketsphinx/test/data', 'pocketsphinx-testdata'],
  ['file /usr/share/games/fillets-ng/sound/gods/cs', 'fillets-ng-data-cs'],
  ['file /usr/share/games/ufoai/base/0snd.pk3', 'ufoai-sound'],
]

function isOnPath(program) {
  return (process.env.PATH ?? '').split(delimiter).some((folder) => {
    try {
      accessSync(join(folder, program), constants.X_OK)
      return true
    } catch {
      return false
    }
  })
}

const PROBES = {
  program: isOnPath,
  file: existsSync,
  python: (module) => spawnSync('/usr/bin/python3', ['-c', `import ${module}`]).status === 0,
}

function isThere([need]) {
  const [kind, name] = need.split(' ')
  return PROBES[kind](name)
}

const APT_OPTIONS = ['-o', 'DPkg::Lock::Timeout=300', '-o', 'Acquire::Retries=3']

/** Installs what is missing where it may; where it may not, says which command would. */
export async function ensureSystemTools() {
  const missing = NEEDS.filter((need) => !isThere(need))
  if (missing.length === 0) return
  const packages = missing.map(([, name]) => name)
  const command = `apt-get install --no-install-recommends ${packages.join(' ')}`
  const mayInstall = existsSync('/etc/debian_version') && process.getuid?.() === 0
  if (!mayInstall)
    throw new Error(`The tests need: ${missing.map(([need]) => need).join(', ')}. On Debian: sudo ${command}`)

  console.log(`Installing for the tests: ${packages.join(' ')}`)
  const env = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' }
  // An old list may still serve: whether the update worked shows in the installation.
  await run('apt-get', [...APT_OPTIONS, 'update', '-qq'], { env })
  await run('apt-get', [...APT_OPTIONS, 'install', '-y', '-qq', '--no-install-recommends', ...packages], { env })
  const stillMissing = missing.filter((need) => !isThere(need))
  if (stillMissing.length > 0)
    throw new Error(`Still missing: ${stillMissing.map(([need]) => need).join(', ')}. Try: ${command}`)
}

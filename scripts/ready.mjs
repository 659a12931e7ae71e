// Makes a checkout ready to run: installs and builds what is missing or stale. Imports nothing that has to be installed.
import { spawn } from 'node:child_process'
import { createHash } from 'node:crypto'
import {
  appendFileSync,
  chmodSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'

export const root = fileURLToPath(new URL('..', import.meta.url))

const INSTALL_STAMP = join(root, 'node_modules/.plimsoll-installed')
const BUILD_STAMP = join(root, 'build/.plimsoll-built')
const BUILT = [
  'build/kernels.wasm',
  'build/speech-model.onnx',
  'build/web/report-reading.js',
  'build/web/desk/desk.js',
  'dist/cli/main.js',
]
const LOCK = join(root, '.cache/ready.lock')
const LOCK_POLL_MS = 250
const HEARTBEAT_MS = 5_000
/** A lock without a heartbeat for so long is nobody's, even if its owner's id lives on as another program. */
const SILENT_LOCK_MS = 60_000
/** An owner writes its id right after it made the file; one that is still nameless after this died in between. */
const NAMELESS_LOCK_MS = 10_000

/** Runs a program to its end and gives its exit code; stops it when we are stopped. */
export function run(program, args, options = {}) {
  return new Promise((resolve, reject) => {
    const child = spawn(program, args, { cwd: root, stdio: 'inherit', ...options })
    // Whoever finds our lock after we were killed must wait for this child too.
    if (ownsLock) appendFileSync(LOCK, `${child.pid}\n`)
    const forward = (signal) => child.kill(signal)
    process.on('SIGINT', forward).on('SIGTERM', forward)
    const settle = (act, value) => {
      process.off('SIGINT', forward).off('SIGTERM', forward)
      act(value)
    }
    child.on('error', (error) => settle(reject, error))
    child.on('exit', (code, signal) => {
      if (signal === 'SIGINT' || signal === 'SIGTERM') process.exit(1)
      settle(resolve, code ?? 1)
    })
  })
}

/** Runs one of the installed programs by its path, so that neither PATH nor a shell matters. */
export function runNode(script, args = [], options = {}) {
  return run(process.execPath, [join(root, script), ...args], options)
}

async function must(promise, what) {
  const code = await promise
  if (code !== 0)
    throw new Error(`${what} failed with exit code ${code}; nothing was marked as done, so the next start tries again`)
}

/** One name for what is in all of these files, on this kind of machine. */
export function filesHash(paths) {
  const hash = createHash('sha256').update(`${process.platform} ${process.arch} ${process.versions.modules}\n`)
  for (const path of paths)
    hash
      .update(path)
      .update('\0')
      .update(readFileSync(join(root, path)))
      .update('\0')
  return hash.digest('hex')
}

const isTestOnly = (path) => /[.](?:test|reference)[.]ts$/.test(path)

/** Every file under a folder of the checkout, in a fixed order. */
export function filesUnder(folder) {
  return readdirSync(join(root, folder), { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => join(entry.parentPath, entry.name).slice(root.length))
    .sort()
}

const installHash = () => filesHash(['package.json', 'package-lock.json'])

/** Names everything that the built program is made from. */
export function sourcesHash() {
  const configs = readdirSync(root)
    .filter((name) => /^tsconfig.*[.]json$/.test(name))
    .sort()
  const sources = filesUnder('src').filter((path) => !isTestOnly(path))
  return filesHash([
    'package-lock.json',
    'scripts/build-kernels.mjs',
    'scripts/build-program.mjs',
    ...configs,
    ...sources,
  ])
}

const reads = (stamp, value) => existsSync(stamp) && readFileSync(stamp, 'utf8') === value

async function install() {
  const hash = installHash()
  if (reads(INSTALL_STAMP, hash)) return
  console.log('Installing the packages of package-lock.json ...')
  rmSync(INSTALL_STAMP, { force: true })
  const args = ['ci', '--include=dev', '--include=optional', '--no-audit', '--no-fund']
  const npm = process.env.npm_execpath
  await must(
    npm?.endsWith('.js')
      ? run(process.execPath, [npm, ...args])
      : run('npm', args, { shell: process.platform === 'win32' }),
    'npm ci',
  )
  writeFileSync(INSTALL_STAMP, hash)
}

async function build() {
  const hash = sourcesHash()
  const isWhole = BUILT.every((path) => existsSync(join(root, path)))
  if (isWhole && reads(BUILD_STAMP, hash)) return
  console.log('Building ...')
  rmSync(BUILD_STAMP, { force: true })
  rmSync(join(root, 'dist'), { recursive: true, force: true })
  await must(runNode('scripts/build-kernels.mjs'), 'Building the kernels')
  await must(runNode('scripts/build-program.mjs'), 'Bundling')
  linkCommand()
  writeFileSync(BUILD_STAMP, hash)
}

/** Lets `npx plimsoll` find the command here: npm links the commands of packages, but not those of the checkout itself. */
function linkCommand() {
  const program = join(root, 'dist/cli/main.js')
  const link = join(root, 'node_modules/.bin/plimsoll')
  chmodSync(program, 0o755)
  rmSync(link, { force: true })
  if (process.platform === 'win32') writeFileSync(`${link}.cmd`, `@node "%~dp0\\..\\..\\dist\\cli\\main.js" %*\r\n`)
  else symlinkSync('../../dist/cli/main.js', link)
}

let ownsLock = false
let heartbeat

function isAlive(pid) {
  try {
    process.kill(pid, 0)
    return true
  } catch (error) {
    return error.code === 'EPERM'
  }
}

/** The ids in the lock: its owner and the programs that the owner started. Null: there is no lock. */
function lockHolders() {
  try {
    return readFileSync(LOCK, 'utf8').split('\n').filter(Boolean).map(Number)
  } catch (error) {
    if (error.code === 'ENOENT') return null
    throw error
  }
}

function isDead(holders) {
  const silentMs = Date.now() - (statSync(LOCK, { throwIfNoEntry: false })?.mtimeMs ?? 0)
  if (holders.length === 0) return silentMs > NAMELESS_LOCK_MS
  return silentMs > SILENT_LOCK_MS || !holders.some(isAlive)
}

function tryLock() {
  try {
    writeFileSync(LOCK, `${process.pid}\n`, { flag: 'wx' })
    return true
  } catch (error) {
    if (error.code === 'EEXIST') return false
    throw error
  }
}

/** Takes a dead owner's lock away. Renaming comes first: of two that try, only one gets the file. */
function removeDeadLock(deadHolders) {
  const taken = `${LOCK}.${process.pid}`
  try {
    renameSync(LOCK, taken)
  } catch (error) {
    if (error.code === 'ENOENT') return
    throw error
  }
  const changedHands = readFileSync(taken, 'utf8') !== deadHolders.map((pid) => `${pid}\n`).join('')
  if (changedHands) renameSync(taken, LOCK)
  else rmSync(taken)
}

async function lock() {
  mkdirSync(join(root, '.cache'), { recursive: true })
  let saidSo = false
  while (!tryLock()) {
    const holders = lockHolders()
    if (holders === null) continue
    if (isDead(holders)) {
      removeDeadLock(holders)
      continue
    }
    if (!saidSo) console.log(`Waiting for process ${holders[0] ?? '?'}, which is installing or building here ...`)
    saidSo = true
    await new Promise((resolve) => setTimeout(resolve, LOCK_POLL_MS))
  }
  ownsLock = true
  process.on('exit', unlock)
  heartbeat = setInterval(() => utimesSync(LOCK, new Date(), new Date()), HEARTBEAT_MS)
}

function unlock() {
  clearInterval(heartbeat)
  if (ownsLock) rmSync(LOCK, { force: true })
  ownsLock = false
}

/** Installs and builds what is missing or stale. Two at once wait for each other. */
export async function ready({ build: wantsBuild = true } = {}) {
  await lock()
  try {
    await install()
    if (wantsBuild) await build()
  } finally {
    unlock()
  }
}

/** The start of every script: says what went wrong in one line, not as a stack. */
export async function main(body) {
  try {
    process.exitCode = (await body()) ?? 0
  } catch (error) {
    console.error(error.message)
    process.exitCode = 1
  }
}

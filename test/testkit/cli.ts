// The built command, as a user starts it: words in, exit code, stdout and stderr out.
import { type ChildProcess, spawn } from 'node:child_process'
import { lstatSync, mkdtempSync, readdirSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join, relative } from 'node:path'
import { fileURLToPath } from 'node:url'
import { afterAll, onTestFinished } from 'vitest'
import { sha256 } from './outside.ts'

const PROGRAM = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url))

/** Time to make the programmes and deliveries that a test file shares, on a slow and busy machine. */
export const PREPARATION_MS = 600_000

export type Run = {
  /** Null where a signal ended the process before it could answer. */
  readonly code: number | null
  readonly signal: NodeJS.Signals | null
  readonly stdout: string
  readonly stderr: string
  readonly json: () => Json
}

// biome-ignore lint/suspicious/noExplicitAny: a parsed document, looked at by the test that asked for it
type Json = any

export type Start = {
  readonly env?: Readonly<Record<string, string>>
  readonly cwd?: string
  /** Options of node itself, before the program. */
  readonly node?: readonly string[]
  /** User id to run as; only root may choose one. */
  readonly uid?: number | undefined
}

export type Started = { readonly child: ChildProcess; readonly ended: Promise<Run> }

/** Starts the command and gives it back while it runs. */
export function startPlimsoll(args: readonly string[], start: Start = {}): Started {
  const { env, cwd, node = [], uid } = start
  const child = spawn(process.execPath, [...node, PROGRAM, ...args], {
    cwd,
    env: { ...process.env, ...env },
    stdio: ['ignore', 'pipe', 'pipe'],
    ...(uid === undefined ? {} : { uid, gid: uid }),
  })
  const text = { stdout: '', stderr: '' }
  for (const name of ['stdout', 'stderr'] as const) {
    child[name]?.setEncoding('utf8').on('data', (part: string) => {
      text[name] += part
    })
  }
  const ended = new Promise<Run>((resolve, reject) => {
    child.on('error', reject)
    child.on('close', (code, signal) => {
      resolve({ code, signal, ...text, json: () => JSON.parse(text.stdout) as Json })
    })
  })
  return { child, ended }
}

/** Runs the command to its end. */
export function plimsoll(args: readonly string[], start: Start = {}): Promise<Run> {
  return startPlimsoll(args, start).ended
}

/** Runs the command and fails, with everything that it said, unless it ends with this code. */
export async function plimsollMust(args: readonly string[], code: number, start: Start = {}): Promise<Run> {
  const run = await plimsoll(args, start)
  if (run.code === code) return run
  throw new Error(`plimsoll ${args.join(' ')} ended with ${run.code}, not ${code}:\n${run.stdout}\n${run.stderr}`)
}

/** A folder that this test has to itself and that is gone after it. */
export function ownFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'plimsoll-test-'))
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }))
  return folder
}

/** A folder that all tests of a file share. */
export function fileFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'plimsoll-test-'))
  afterAll(() => rmSync(folder, { recursive: true, force: true }))
  return folder
}

/** Every file below a folder, by its path inside it, in order. */
export function filesBelow(folder: string): string[] {
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => !entry.isDirectory())
    .map((entry) => relative(folder, join(entry.parentPath, entry.name)))
    .sort()
}

/** Everything below a folder, folders too, with the sizes and times of files: equal before and after = untouched. */
export function snapshot(folder: string): string[] {
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .map((entry) => {
      const path = join(entry.parentPath, entry.name)
      const { size, mtimeMs } = lstatSync(path)
      return entry.isDirectory() ? `${relative(folder, path)}/` : `${relative(folder, path)} ${size} ${mtimeMs}`
    })
    .sort()
}

/** SHA-256 of every file of a folder, by name, but of the log, which tells times and the host. */
export function deliverySums(folder: string): Readonly<Record<string, string>> {
  const names = filesBelow(folder).filter((name) => name !== 'run.log')
  return Object.fromEntries(names.map((name) => [name, sha256(join(folder, name))]))
}

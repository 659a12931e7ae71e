import { spawnSync } from 'node:child_process'
import { readFileSync, rmSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'

const PLIMSOLL = fileURLToPath(new URL('../dist/cli/main.js', import.meta.url))
const HOOK = new URL('spent-at-exit.mjs', import.meta.url).href

export type Run = { readonly wallSeconds: number; readonly stdout: string; readonly stderr: string }

/** Runs a program to its end; its start is part of the time. */
export function timed(program: string, args: readonly string[], env: NodeJS.ProcessEnv = process.env): Run {
  const start = performance.now()
  const { status, error, stdout, stderr } = spawnSync(program, args, { encoding: 'utf8', maxBuffer: 1 << 28, env })
  const wallSeconds = (performance.now() - start) / 1000
  // 1 says that a programme does not conform, and is an answer.
  if (error !== undefined || status === null || status > 1) {
    throw new Error(`${program} ${args.join(' ')} ended with ${error?.message ?? status}:\n${stderr}`)
  }
  return { wallSeconds, stdout, stderr }
}

/** Runs the built command. */
export function timedPlimsoll(args: readonly string[]): Run {
  return timed(process.execPath, [PLIMSOLL, ...args])
}

export type Spent = Run & {
  /** Of all threads, in user and in system mode. */
  readonly cpuSeconds: number
  /** Highest resident memory of the process; workers are threads of it. */
  readonly peakMegabytes: number
}

/** Runs the built command and tells what it took besides time. */
export function spentByPlimsoll(folder: string, args: readonly string[]): Spent {
  const path = join(folder, 'spent.json')
  const env = { ...process.env, SPENT_AT_EXIT: path }
  const run = timed(process.execPath, ['--import', HOOK, PLIMSOLL, ...args], env)
  const { user, system, peakKilobytes } = JSON.parse(readFileSync(path, 'utf8'))
  rmSync(path)
  return { ...run, cpuSeconds: (user + system) / 1e6, peakMegabytes: (peakKilobytes * 1024) / 1e6 }
}

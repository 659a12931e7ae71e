import { execFileSync } from 'node:child_process'
import { availableParallelism, cpus, loadavg } from 'node:os'

/** What the figures were taken on. */
export function describeMachine() {
  return {
    processor: cpus()[0]?.model ?? 'unknown',
    cores: availableParallelism(),
    node: process.version,
    ffmpeg: firstLine('ffmpeg', '-version')?.split(' ')[2] ?? 'not installed',
    libebur128: firstLine('pkg-config', '--modversion', 'libebur128') ?? 'not installed',
  }
}

/** Runnable processes, on average of the last minute: above the number of cores times are too long. */
export function load(): number {
  return loadavg()[0] as number
}

function firstLine(program: string, ...args: string[]): string | null {
  try {
    return execFileSync(program, args, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] }).split('\n')[0] ?? null
  } catch {
    return null
  }
}

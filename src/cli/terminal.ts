import type { Progress } from '../jobs/index.ts'
import { type ExitCode, harmless } from './outcome.ts'
import { ProgressLine } from './progress.ts'

/** What every command takes. */
export type CommonOptions = { readonly json?: true; readonly quiet?: true; readonly workers?: number }

/** What a command has to say: for people, and as one JSON document. */
export type Answer = { readonly text: string; readonly json: object; readonly code: ExitCode }

const STOP_SIGNALS = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const

/**
 * Runs a command's work with progress on stderr, stopped by Ctrl-C, a termination signal or a closed terminal, and prints the answer on
 * stdout: one JSON document with `--json`, else text. A second signal ends the program at once.
 */
export async function answer(
  options: CommonOptions,
  work: (run: { readonly signal: AbortSignal; readonly progress: (progress: Progress) => void }) => Promise<Answer>,
): Promise<void> {
  const line = options.quiet ? null : new ProgressLine(process.stderr)
  const stopper = new AbortController()
  const stop = (): void => {
    if (stopper.signal.aborted) process.exit(130)
    stopper.abort()
  }
  for (const name of STOP_SIGNALS) process.on(name, stop)
  try {
    const { text, json, code } = await work({ signal: stopper.signal, progress: (progress) => line?.show(progress) })
    line?.end()
    if (options.json) process.stdout.write(`${JSON.stringify(json, null, 2)}\n`)
    else if (!options.quiet) process.stdout.write(harmless(text))
    process.exitCode = code
  } finally {
    line?.end()
    for (const name of STOP_SIGNALS) process.off(name, stop)
  }
}

import { once } from 'node:events'
import { type Command, InvalidArgumentError } from 'commander'
import { refuse } from '../refusals.ts'

type Options = {
  readonly port?: number
  readonly open: boolean
  readonly workers?: number
  readonly measure?: true
}

const HIGHEST_PORT = 65535

export function addDesk(program: Command): void {
  program
    .command('desk')
    .summary('the titles of a folder in a page on this machine: see, trim, deliver')
    .description(
      'Opens a page on the titles of a folder and of the folders in it. It runs on this machine only, answers nobody ' +
        'without its token, and fetches nothing from outside. Decisions are saved as sheets beside the masters; the masters ' +
        'are never written to.',
    )
    .argument('[folder]', 'where the masters and sheets lie', '.')
    .option('--port <number>', 'the port to listen on; one that is taken means the next one (default: 7404)', portOf)
    .option('--measure', 'measure every title as soon as the desk is open')
    .option('--no-open', 'do not open a browser')
    .option('--workers <number>', 'how many processors to use (default: all)', countOf)
    .addHelpText(
      'after',
      `
Examples:
  plimsoll desk
  plimsoll desk season-2
  plimsoll desk season-2 --measure
  plimsoll desk season-2 --no-open --port 8080

The page's address is printed as "Ready: ...". Ctrl-C ends it; what was decided is saved by then.
Set the monitor level low before you listen.`,
    )
    .action(run)
}

async function run(folder: string, options: Options): Promise<void> {
  const [{ openDesk }, { showOnScreen }] = await Promise.all([
    import('../../server/index.ts'),
    import('../../jobs/index.ts'),
  ])
  const desk = await openDesk({ folder, ...options, measures: options.measure ?? false }).catch(
    (error: NodeJS.ErrnoException) => {
      if (error.code !== 'EADDRINUSE' && error.code !== 'EACCES') throw error
      throw refuse(
        'CLI_PORT_TAKEN',
        'open the desk',
        `no port that is free from ${options.port ?? 'the customary one'} on`,
      )
    },
  )
  process.stdout.write(`Ready: ${desk.url}\n`)
  if (options.open) void showOnScreen(desk.url)
  const stopper = new AbortController()
  for (const name of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) process.once(name, () => stopper.abort())
  await once(stopper.signal, 'abort')
  await desk.close()
}

function portOf(text: string): number {
  const port = Number(text)
  if (Number.isInteger(port) && port >= 0 && port <= HIGHEST_PORT) return port
  throw new InvalidArgumentError(`Give a whole number from 0 to ${HIGHEST_PORT}.`)
}

function countOf(text: string): number {
  const count = Number(text)
  if (Number.isInteger(count) && count >= 1) return count
  throw new InvalidArgumentError('Give a whole number from 1 on.')
}

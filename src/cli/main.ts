#!/usr/bin/env node
import { existsSync } from 'node:fs'
import { Command, CommanderError } from 'commander'
import { TOOL_VERSION } from '../jobs/index.ts'
import { addDeliver } from './commands/deliver.ts'
import { addDesk } from './commands/desk.ts'
import { addFit } from './commands/fit.ts'
import { addFold } from './commands/fold.ts'
import { addInspect } from './commands/inspect.ts'
import { addMeasure } from './commands/measure.ts'
import { addPassages } from './commands/passages.ts'
import { addSheet } from './commands/sheet.ts'
import { addSpecs } from './commands/specs.ts'
import { addUpmix } from './commands/upmix.ts'
import { addVerify } from './commands/verify.ts'
import { EXIT, explain } from './outcome.ts'
import { refuse } from './refusals.ts'

const program = new Command('plimsoll')
  .description('Upmix, fit and prove a programme mix for delivery.')
  .version(TOOL_VERSION)
  .showSuggestionAfterError()
  .exitOverride()
  .configureOutput({ outputError: () => {} })
  .addHelpText(
    'after',
    `
Start here:
  plimsoll measure master.wav                                        how does it stand?
  plimsoll specs                                                     what can it be delivered to?
  plimsoll deliver master.wav --spec atsc-a85-short --out delivery   make the delivery

Set the monitor level low before you listen for the first time: upmixed and raised signals can hurt ears and
damage loudspeakers. Sources are never written to.`,
  )

for (const add of [
  addMeasure,
  addInspect,
  addPassages,
  addDeliver,
  addVerify,
  addUpmix,
  addFit,
  addFold,
  addSheet,
  addSpecs,
  addDesk,
])
  add(program)
for (const command of program.commands) command.exitOverride()

// A reader that has seen enough, such as head, is no reason to break off; any other failure of the output is told.
process.stdout.on('error', outputLost)
process.stderr.on('error', () => {})

try {
  await program.parseAsync()
} catch (error) {
  process.exitCode = error instanceof CommanderError ? misused(error) : failed(error)
}

/** Help and the version are answers; anything else that the words of the command got wrong is a refusal. */
function misused(error: CommanderError): number {
  if (error.exitCode === 0) return EXIT.conforms
  const [message = '', suggestion] = error.message.replace(/^error: /, '').split('\n')
  const { text, json } = explain(
    refuse('CLI_USAGE', 'understand the command', message.replace(/[.]$/, ''), { remedy: wayOut(message, suggestion) }),
  )
  // Without any word the help was printed, and says it all.
  if (error.code !== 'commander.help') process.stderr.write(text)
  printJson(json)
  return EXIT.refused
}

/** What to write instead, where that can be told. */
function wayOut(message: string, suggestion: string | undefined): string | undefined {
  const help = 'See "plimsoll help", or --help after a command, for examples.'
  const [, word] = /^unknown option '(.*)'$/.exec(message) ?? []
  if (word !== undefined && existsSync(word)) return `To name the file, write it as "./${word}".`
  return suggestion === undefined ? undefined : `${suggestion.replace(/^[(]|[)]$/g, '')} ${help}`
}

function failed(error: unknown): number {
  const { text, json, code } = explain(error)
  process.stderr.write(text)
  printJson(json)
  return code
}

function printJson(document: object): void {
  if (process.argv.includes('--json')) process.stdout.write(`${JSON.stringify(document, null, 2)}\n`)
}

function outputLost(error: NodeJS.ErrnoException): void {
  if (error.code === 'EPIPE') return
  process.stderr.write(explain(refuse('CLI_OUTPUT_LOST', 'print the answer', `a system error (${error.code})`)).text)
  process.exitCode = EXIT.refused
}

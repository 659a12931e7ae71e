#!/usr/bin/env node
import { Command, CommanderError } from 'commander'
import { TOOL_VERSION } from '../jobs/index.ts'
import { addDeliver } from './commands/deliver.ts'
import { addFit } from './commands/fit.ts'
import { addFold } from './commands/fold.ts'
import { addMeasure } from './commands/measure.ts'
import { addSpecs } from './commands/specs.ts'
import { addUpmix } from './commands/upmix.ts'
import { addVerify } from './commands/verify.ts'
import { EXIT, explain } from './outcome.ts'

const program = new Command('plimsoll')
  .description('Upmix, fit and prove a programme mix for delivery.')
  .version(TOOL_VERSION)
  .showSuggestionAfterError()
  .exitOverride()
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

for (const add of [addMeasure, addDeliver, addVerify, addUpmix, addFit, addFold, addSpecs]) add(program)
for (const command of program.commands) command.exitOverride()

try {
  await program.parseAsync()
} catch (error) {
  process.exitCode = error instanceof CommanderError ? usageCode(error) : refuse(error)
}

/** Help and the version are answers; anything else that the words of the command got wrong is a refusal. */
function usageCode(error: CommanderError): number {
  return error.exitCode === 0 ? EXIT.conforms : EXIT.refused
}

function refuse(error: unknown): number {
  const { text, json, code } = explain(error)
  process.stderr.write(text)
  if (process.argv.includes('--json')) process.stdout.write(`${JSON.stringify(json, null, 2)}\n`)
  return code
}

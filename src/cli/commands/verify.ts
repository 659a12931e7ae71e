import type { Command } from 'commander'
import { loadSpec, type TimecodeOptions, TOOL_VERSION, verify } from '../../jobs/index.ts'
import { withCommon, withSpeech, withTimecode } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { printFindings, printLock, printMargins } from '../print.ts'
import { answer, type CommonOptions } from '../terminal.ts'

export function addVerify(program: Command): void {
  const command = program
    .command('verify')
    .summary('independent check of a delivery folder or a file')
    .description(
      'Compares every file of a delivery with its manifest, measures the audio again from its bytes, holds it against a ' +
        'spec and compares the stereo with the Lo/Ro fold-down of the 5.1, or the Lt/Rt with its encode, sample for sample.',
    )
    .argument('<folder or file>', 'a delivery folder, or one audio file')
    .requiredOption('--spec <spec>', 'name of a delivery spec, or path of a spec file')
  withTimecode(withSpeech(withCommon(command)))
    .addHelpText(
      'after',
      `
Examples:
  plimsoll verify delivery/103 --spec atsc-a85-short
  plimsoll verify harbour-day-fitted.wav --spec ebu-r128 --json

Exit code: 0 conforms, 1 findings, 2 refused.`,
    )
    .action(run)
}

type Options = CommonOptions & TimecodeOptions & { readonly spec: string; readonly speech?: boolean }

function run(path: string, options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    const spec = await loadSpec(options.spec)
    const verified = await verify(path, { ...options, spec, signal }, progress)
    const { conforms, foldDownLock, findings, margins } = verified
    return {
      code: conforms ? EXIT.conforms : EXIT.finding,
      text:
        `${path}: ${conforms ? 'conforms' : 'does not conform'} to ${spec.title}\n` +
        printLock(foldDownLock) +
        printMargins(margins) +
        printFindings(findings),
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        spec: { id: spec.id, title: spec.title, edition: spec.edition },
        ...verified,
      },
    }
  })
}

import type { Command } from 'commander'
import { Refusal } from '../../domain/index.ts'
import { type InspectedFile, inspectFile, TOOL_VERSION } from '../../jobs/index.ts'
import { type ProgrammeOptions, withProgramme } from '../options.ts'
import { EXIT, printRefusal, refusalJson } from '../outcome.ts'
import { placed } from '../placed.ts'
import { hasFailed, printInspection } from '../print-inspection.ts'
import { answer } from '../terminal.ts'

export function addInspect(program: Command): void {
  const command = program
    .command('inspect')
    .summary('what files really are, along time, and what is wrong with them')
    .description(
      'Looks at files before anything is made of them: the map of the file (tone, slate, leader, acts, breaks), what the ' +
        'tracks really carry and where that changes, and faults with their places. Nothing is written.',
    )
    .argument('<file...>', 'WAV, BWF, RF64, BW64 or FLAC')
  withProgramme(command)
    .addHelpText(
      'after',
      `
Examples:
  plimsoll inspect saltmarsh-103-master.wav
  plimsoll inspect saltmarsh-103-master.wav --timecode-rate 25 --timecode-start 09:58:30:00
  plimsoll inspect harbour-day.wav --order film
  plimsoll inspect *.wav --json

What is found is evidence, not a verdict: each line says how sure it is, and your ears decide.
Exit code: 0 nothing that would fail a delivery, 1 faults that would, 2 refused.`,
    )
    .action(inspect)
}

function inspect(paths: readonly string[], options: ProgrammeOptions): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    const files: InspectedFile[] = []
    const refused: { readonly path: string; readonly refusal: Refusal }[] = []
    for (const [index, path] of paths.entries()) {
      const told = ({ stage, share }: Parameters<typeof progress>[0]) =>
        progress({ stage, share: (index + share) / paths.length })
      try {
        files.push(await inspectFile(path, { ...options, signal }, told))
      } catch (error) {
        // One of many that cannot be read must not cost the findings of the others.
        if (!(error instanceof Refusal) || paths.length === 1) throw error
        refused.push({ path, refusal: error })
      }
    }
    return {
      code: refused.length > 0 ? EXIT.refused : files.some(hasFailed) ? EXIT.finding : EXIT.conforms,
      text: [
        ...files.map(printInspection),
        ...refused.map(({ path, refusal }) => `${path}\n${printRefusal(refusal)}`),
      ].join('\n'),
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        files: files.map(fileJson),
        refused: refused.map(({ path, refusal }) => ({ path, refusal: refusalJson(refusal) })),
      },
    }
  })
}

function fileJson({ clock, speech, ...file }: InspectedFile): object {
  const { sampleRateHz } = file
  const timecode = clock === null ? null : clock.format
  const dialogueShare =
    speech === null ? null : speech.isSpeech100ms.reduce((sum, hop) => sum + hop, 0) / speech.isSpeech100ms.length
  return { ...(placed(file, { clock, sampleRateHz }) as object), timecode, dialogueShare }
}

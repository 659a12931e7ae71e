import type { Command } from 'commander'
import { type InspectedFile, inspectFiles, TOOL_VERSION } from '../../jobs/index.ts'
import { type ProgrammeOptions, withProgramme } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { placed } from '../placed.ts'
import { hasFailed, printInspection } from '../print-inspection.ts'
import { orRefusal, printRefused, refusedJson } from '../refused.ts'
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
    const inspected = await inspectFiles(paths, { ...options, signal }, progress)
    const { files, refused } = orRefusal(inspected, paths)
    return {
      code: refused.length > 0 ? EXIT.refused : files.some(hasFailed) ? EXIT.finding : EXIT.conforms,
      text: [...files.map(printInspection), ...refused.map(printRefused)].join('\n'),
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        files: files.map(fileJson),
        refused: refused.map(refusedJson),
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

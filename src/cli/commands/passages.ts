import { type Command, Option } from 'commander'
import { labelAt } from '../../domain/index.ts'
import { findPassages, loadSpec, type PassagesOfFile, TOOL_VERSION } from '../../jobs/index.ts'
import { collect, type ProgrammeOptions, withProgramme } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { placed } from '../placed.ts'
import { printPassages } from '../print-passages.ts'
import { answer } from '../terminal.ts'

type Options = ProgrammeOptions & {
  readonly spec?: string
  readonly export: readonly string[]
  readonly sheet?: string
  readonly replace?: true
}

export function addPassages(program: Command): void {
  const command = program
    .command('passages')
    .summary('where a mix is too loud or too soft for a spec, and what a trim there would do')
    .description(
      'Measures a file against a spec and points at the places worth going back to, the one with the largest effect first: ' +
        'in and out, the line that is missed and by how much, which channels carry it, whether there is dialogue, the least ' +
        'trim that mends it, and what that trim does to the total with the gates computed anew. A mix that conforms still ' +
        'gets the places with the least room.',
    )
    .argument('<file>', 'WAV, BWF, RF64, BW64 or FLAC; or the sheet of a title, whose trims are counted in')
    .option('--spec <spec>', 'name of a delivery spec, or path of a spec file; outranks that of a sheet')
    .addOption(
      new Option(
        '--export <file>',
        'also write the passages to a .csv, .edl, .otio or .vtt, or as markers into a .wav copy; may be given several times',
      )
        .argParser(collect)
        .default([], 'none'),
    )
    .option('--sheet <json>', 'also write a sheet for the file that has the suggested trims in it')
    .option('--replace', 'replace files that are there already')
  withProgramme(command)
    .addHelpText(
      'after',
      `
Examples:
  plimsoll passages harbour-day.wav --spec ebu-r128
  plimsoll passages saltmarsh-103_51.wav --spec atsc-a85-short --timecode-rate 29.97 --drop-frame --export passages.edl
  plimsoll passages harbour-day.wav --spec ebu-r128 --export passages.csv --export marked.wav --replace
  plimsoll passages harbour-day.wav --spec ebu-r128 --sheet harbour-day.json
  plimsoll passages saltmarsh-103.json
  plimsoll passages harbour-day.wav --spec ebu-r128 --json

Exit code: 0 every line of the spec is met, 1 a line is missed, 2 refused. The source is never written to.`,
    )
    .action(run)
}

function run(path: string, options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    const spec = options.spec === undefined ? undefined : await loadSpec(options.spec)
    const { export: exports, replace, ...told } = options
    const written = options.sheet === undefined ? exports : [...exports, options.sheet]
    const found = await findPassages(
      path,
      { ...told, spec, specName: options.spec, exports, replaces: replace ?? false, signal },
      progress,
    )
    return {
      code: found.conforms ? EXIT.conforms : EXIT.finding,
      text: printPassages(found, written, options.speech !== false),
      json: passagesJson(found),
    }
  })
}

function passagesJson(found: PassagesOfFile): object {
  const { spec, clock, passages, findings, ...file } = found
  return {
    version: 1,
    tool: { name: 'plimsoll', version: TOOL_VERSION },
    spec: { id: spec.id, title: spec.title, edition: spec.edition },
    ...file,
    timecode: clock === null ? null : { ...clock.format, start: labelAt(clock, 0) },
    passages: placed(passages, found),
    findings,
  }
}

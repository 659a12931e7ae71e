import { type Command, Option } from 'commander'
import { seasonOf } from '../../domain/index.ts'
import {
  loadSpec,
  type MeasuredFile,
  measuredPicture,
  measureFiles,
  measureReels,
  SingleOutput,
  seasonCsv,
  seriesCsv,
  TOOL_VERSION,
} from '../../jobs/index.ts'
import { type ProgrammeOptions, withProgramme } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { printFindings, printLeqM, printMargins, printMeasurements } from '../print.ts'
import { printSeason, printStretches } from '../print-programme.ts'
import { refuse } from '../refusals.ts'
import { orRefusal, printRefused, refusedJson } from '../refused.ts'
import { answer } from '../terminal.ts'

type Options = ProgrammeOptions & {
  readonly spec?: string
  readonly series?: string
  readonly plot?: string
  readonly season?: string
  readonly asOne?: true
  readonly segments?: 'auto'
  readonly leqM?: true
  readonly replace?: true
}

export function addMeasure(program: Command): void {
  const command = program
    .command('measure')
    .summary('loudness, range and peaks of files, against a spec if one is named')
    .description(
      'Measures programme loudness, loudness range, momentary and short-term maxima (ITU-R BS.1770-5, EBU Tech 3341 and ' +
        '3342), sample and true peaks of every channel, the Lo/Ro fold-down of a multichannel file, and dialogue: how loud, ' +
        'how much of the time, over what background.',
    )
    .argument('<file...>', 'WAV, BWF, RF64, BW64 or FLAC; or sheets of titles, whose trims are counted in')
    .option('--spec <spec>', 'name of a delivery spec, or path of a spec file')
    .option('--series <csv>', 'also write loudness over time, every 100 ms (one file only)')
    .option('--plot <svg>', 'also draw loudness over time, dialogue and channels as a picture (one file only)')
    .option('--as-one', 'the files are the reels of one programme, in this order')
    .addOption(
      new Option(
        '--segments <how>',
        'auto: leave tone, slate, leader and breaks out, where they are found in the sound',
      ).choices(['auto']),
    )
    .option('--leq-m', 'also Leq(m) of a trailer or cinema commercial (ISO 21727), over the whole file')
    .option('--season <csv>', 'also write the table of a season: each title beside the median (several files)')
    .option('--replace', 'replace a series, picture or table that is there already')
  withProgramme(command)
    .addHelpText(
      'after',
      `
Examples:
  plimsoll measure saltmarsh-103-master.wav
  plimsoll measure saltmarsh-103_51.wav --spec atsc-a85-short
  plimsoll measure harbour-day.wav --order film --series harbour-day.csv
  plimsoll measure saltmarsh-103_51.wav --spec ebu-r128-s1 --plot saltmarsh-103.svg
  plimsoll measure reel-1.wav reel-2.wav reel-3.wav --as-one --spec ebu-r128
  plimsoll measure saltmarsh-103.json
  plimsoll measure saltmarsh-103-master.wav --segments auto
  plimsoll measure saltmarsh-1*.wav --season saltmarsh.csv
  plimsoll measure saltmarsh-trailer_51.wav --leq-m
  plimsoll measure *.wav --json

Exit code: 0 measured (and conforming, with --spec), 1 findings, 2 refused.`,
    )
    .action(measure)
}

function measure(paths: readonly string[], options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    const { asOne = false } = options
    if (paths.length > 1 && !asOne && (options.series ?? options.plot) !== undefined) {
      throw refuse('CLI_SERIES_OF_SEVERAL', 'write one series or picture', `${paths.length} files`)
    }
    if (options.season !== undefined && (paths.length < 2 || asOne)) {
      throw refuse('CLI_SEASON_OF_ONE', 'write a season table', asOne ? 'reels of one title' : 'one title')
    }
    using series = openOutput(options.series, options, paths)
    using plot = openOutput(options.plot, options, paths)
    using table = openOutput(options.season, options, paths)
    const spec = options.spec === undefined ? undefined : await loadSpec(options.spec)
    const asked = { ...options, spec, signal, marksPassages: options.plot !== undefined }
    const { files, refused } = asOne
      ? { files: [await measureReels(paths, asked, progress)], refused: [] }
      : orRefusal(await measureFiles(paths, asked, progress), paths)
    const [first] = files
    if (first !== undefined) {
      series?.writeText(seriesCsv(first.curves))
      plot?.writeText(measuredPicture(first))
    }
    const season =
      files.length > 1 ? seasonOf(files.map(({ path, measurements }) => ({ path, ...measurements }))) : null
    if (season !== null) table?.writeText(seasonCsv(season))
    for (const output of [series, plot, ...(season === null ? [] : [table])]) output?.place()
    return {
      code: refused.length > 0 ? EXIT.refused : files.every((file) => file.conforms) ? EXIT.conforms : EXIT.finding,
      text: [
        ...files.map(printFile),
        ...(season === null ? [] : [printSeason(season)]),
        ...refused.map(printRefused),
      ].join('\n'),
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        spec: spec === undefined ? null : { id: spec.id, title: spec.title, edition: spec.edition },
        files: files.map(fileJson),
        season,
        refused: refused.map(refusedJson),
      },
    }
  })
}

function printFile(file: MeasuredFile): string {
  const against =
    file.spec === null ? '' : `against ${file.spec.title}: ${file.conforms ? 'conforms' : 'does not conform'}\n`
  return [
    `${file.path}\n`,
    printMeasurements(file.measurements, file.withoutTrims),
    file.leqMDb === undefined ? '' : printLeqM(file.leqMDb),
    printStretches('segments', file.segments),
    printStretches('reels', file.reels),
    against,
    printMargins(file.margins),
    printFindings(file.findings),
  ].join('')
}

/** A file as it stands in JSON: what is only drawn stays out. */
function fileJson({ curves: _, drawn: __, startOfDaySeconds: ___, path, measurements, ...file }: MeasuredFile): object {
  return { path, ...measurements, ...file }
}

function openOutput(path: string | undefined, { replace }: Options, sources: readonly string[]): SingleOutput | null {
  return path === undefined ? null : new SingleOutput(path, { replaces: replace ?? false, sources })
}

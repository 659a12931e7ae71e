import type { Command } from 'commander'
import { type LayoutName, Refusal } from '../../domain/index.ts'
import {
  type ChannelOrder,
  loadSpec,
  type MeasuredFile,
  measuredPicture,
  measureFile,
  SingleOutput,
  seriesCsv,
  type TimecodeOptions,
  TOOL_VERSION,
} from '../../jobs/index.ts'
import { withChannels, withCommon, withTimecode } from '../options.ts'
import { EXIT, printRefusal, refusalJson } from '../outcome.ts'
import { printFindings, printMargins, printMeasurements } from '../print.ts'
import { refuse } from '../refusals.ts'
import { answer, type CommonOptions } from '../terminal.ts'

type Options = CommonOptions &
  TimecodeOptions & {
    readonly spec?: string
    readonly series?: string
    readonly plot?: string
    readonly replace?: true
    readonly layout?: LayoutName
    readonly order?: ChannelOrder
  }

export function addMeasure(program: Command): void {
  const command = program
    .command('measure')
    .summary('loudness, range and peaks of files, against a spec if one is named')
    .description(
      'Measures programme loudness, loudness range, momentary and short-term maxima (ITU-R BS.1770-5, EBU Tech 3341 and ' +
        '3342), sample and true peaks of every channel, and the Lo/Ro fold-down of a multichannel file.',
    )
    .argument('<file...>', 'WAV, BWF, RF64, BW64 or FLAC')
    .option('--spec <spec>', 'name of a delivery spec, or path of a spec file')
    .option('--series <csv>', 'also write loudness over time, every 100 ms (one file only)')
    .option('--plot <svg>', 'also draw loudness over time, dialogue and channels as a picture (one file only)')
    .option('--replace', 'replace a series or picture that is there already')
  withTimecode(withChannels(withCommon(command)))
    .addHelpText(
      'after',
      `
Examples:
  plimsoll measure saltmarsh-103-master.wav
  plimsoll measure saltmarsh-103_51.wav --spec atsc-a85-short
  plimsoll measure harbour-day.wav --order film --series harbour-day.csv
  plimsoll measure saltmarsh-103_51.wav --spec ebu-r128-s1 --plot saltmarsh-103.svg
  plimsoll measure *.wav --json

Exit code: 0 measured (and conforming, with --spec), 1 findings, 2 refused.`,
    )
    .action(measure)
}

function measure(paths: readonly string[], options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    if (paths.length > 1 && (options.series ?? options.plot) !== undefined) {
      throw refuse('CLI_SERIES_OF_SEVERAL', 'write one series or picture', `${paths.length} files`)
    }
    using series = openOutput(options.series, options, paths)
    using plot = openOutput(options.plot, options, paths)
    const spec = options.spec === undefined ? undefined : await loadSpec(options.spec)
    const files: MeasuredFile[] = []
    const refused: { readonly path: string; readonly refusal: Refusal }[] = []
    for (const [index, path] of paths.entries()) {
      const told = ({ stage, share }: Parameters<typeof progress>[0]) =>
        progress({ stage, share: (index + share) / paths.length })
      try {
        files.push(await measureFile(path, { ...options, spec, signal }, told))
      } catch (error) {
        // One of many that cannot be read must not cost the figures of the others.
        if (!(error instanceof Refusal) || paths.length === 1) throw error
        refused.push({ path, refusal: error })
      }
    }
    series?.writeText(seriesCsv((files[0] as MeasuredFile).curves))
    series?.place()
    plot?.writeText(measuredPicture(files[0] as MeasuredFile, spec ?? null))
    plot?.place()
    return {
      code: refused.length > 0 ? EXIT.refused : files.every((file) => file.conforms) ? EXIT.conforms : EXIT.finding,
      text: [
        ...files.map((file) => printFile(file, spec?.title)),
        ...refused.map(({ path, refusal }) => `${path}\n${printRefusal(refusal)}`),
      ].join('\n'),
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        spec: spec === undefined ? null : { id: spec.id, title: spec.title, edition: spec.edition },
        files: files.map(fileJson),
        refused: refused.map(({ path, refusal }) => ({ path, refusal: refusalJson(refusal) })),
      },
    }
  })
}

function printFile(file: MeasuredFile, specTitle: string | undefined): string {
  const against =
    specTitle === undefined ? '' : `against ${specTitle}: ${file.conforms ? 'conforms' : 'does not conform'}\n`
  return `${file.path}\n${printMeasurements(file)}${against}${printMargins(file.margins)}${printFindings(file.findings)}`
}

/** A file as it stands in JSON: what is only drawn stays out. */
function fileJson({ curves: _, drawn: __, ...file }: MeasuredFile): object {
  return file
}

function openOutput(path: string | undefined, { replace }: Options, sources: readonly string[]): SingleOutput | null {
  return path === undefined ? null : new SingleOutput(path, { replaces: replace ?? false, sources })
}

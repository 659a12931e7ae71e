import { type Command, Option } from 'commander'
import type { LayoutName } from '../../domain/index.ts'
import { type ChannelOrder, type FoldOptions, foldFile, TOOL_VERSION } from '../../jobs/index.ts'
import { withChannels, withCommon, withGain } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { printMeasurements } from '../print.ts'
import { answer, type CommonOptions } from '../terminal.ts'

type Options = CommonOptions & {
  readonly to: FoldOptions['to']
  readonly bits: keyof typeof ENCODINGS
  readonly gain: number
  readonly replace?: true
  readonly layout?: LayoutName
  readonly order?: ChannelOrder
}

const ENCODINGS = { '16': 'int16', '24': 'int24', '32f': 'float32' } as const

export function addFold(program: Command): void {
  const command = program
    .command('fold')
    .summary('fold-down of a multichannel file to Lo/Ro, Lt/Rt or mono')
    .description(
      'Folds down by ITU-R BS.775 (Lo/Ro, mono) or by ATSC A/52 with 90-degree surrounds (Lt/Rt). The LFE is left out. ' +
        'The Lo/Ro of a delivered 5.1 is its stereo file, bit for bit.',
    )
    .argument('<in>', 'WAV, BWF, RF64, BW64 or FLAC')
    .argument('<out>', 'WAV file to write')
    .addOption(new Option('--to <law>', 'the fold-down').choices(['lo-ro', 'lt-rt', 'mono']).makeOptionMandatory())
    .addOption(new Option('--bits <n>', 'word length of the output').choices(Object.keys(ENCODINGS)).default('24'))
    .option('--replace', 'replace what is there already')
  withGain(withChannels(withCommon(command)))
    .addHelpText(
      'after',
      `
Examples:
  plimsoll fold saltmarsh-103_51.wav saltmarsh-103_lo-ro.wav --to lo-ro
  plimsoll fold harbour-day.wav harbour-day_lt-rt.wav --to lt-rt --gain -3

Exit code: 0 written, 2 refused (also where the result would pass full scale: nothing is clipped).`,
    )
    .action(run)
}

function run(path: string, outPath: string, options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    const { to, bits, gain: gainDb, replace, workers, layout, order } = options
    const folded = await foldFile(
      path,
      outPath,
      { to, gainDb, encoding: ENCODINGS[bits], replaces: replace ?? false, workers, layout, order, signal },
      progress,
    )
    return {
      code: EXIT.conforms,
      text: `${folded.path}\n${printMeasurements(folded.measurements)}`,
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        files: [{ path: folded.path, ...folded.measurements }],
      },
    }
  })
}

import { availableParallelism } from 'node:os'
import { type Command, InvalidArgumentError, Option } from 'commander'
import { FRAME_RATE_NAMES, type LayoutName, type SheetTrim, UPMIX_STARTS } from '../domain/index.ts'
import type { ChannelOrder, TimecodeOptions } from '../jobs/index.ts'
import type { CommonOptions } from './terminal.ts'

const HIGHEST_WORKER_COUNT = 64

function wholeNumber(text: string): number {
  const number = Number(text)
  if (Number.isInteger(number) && number >= 1 && number <= HIGHEST_WORKER_COUNT) return number
  throw new InvalidArgumentError(`Give a whole number from 1 to ${HIGHEST_WORKER_COUNT}.`)
}

function decibels(text: string): number {
  const number = Number(text)
  if (text.trim() !== '' && Number.isFinite(number) && Math.abs(number) <= 60) return number
  throw new InvalidArgumentError('Give a gain in dB from -60 to 60.')
}

/** Gathers the words of an option that may be given several times. */
export function collect(word: string, words: readonly string[]): readonly string[] {
  return [...words, word]
}

/** Options that every command has. */
export function withCommon(command: Command): Command {
  return command
    .option('--json', 'print one JSON document on stdout and nothing else there')
    .option('--quiet', 'no progress and no text; the exit code tells')
    .addOption(
      new Option('--workers <n>', 'worker threads; the result does not depend on it')
        .argParser(wholeNumber)
        .default(undefined, `one per processor, ${availableParallelism()} here`),
    )
}

/** Options of commands that read a programme whose header may not tell what the channels are. */
export function withChannels(command: Command): Command {
  return command
    .addOption(
      new Option('--layout <layout>', 'what the channels are, where the header does not tell').choices([
        'mono',
        '2.0',
        '5.0',
        '5.1',
        '7.1',
      ]),
    )
    .addOption(
      new Option(
        '--order <order>',
        'order of the six channels: itu L R C LFE Ls Rs, film L C R Ls Rs LFE, aac C L R Ls Rs LFE',
      ).choices(['itu', 'film', 'aac']),
    )
}

/** Options of commands that listen for dialogue. */
export function withSpeech(command: Command): Command {
  return command.option('--no-speech', 'do not listen for dialogue: faster, and nothing is said of it')
}

/** Options of commands that tell places: what the user says of the timecode outranks the file. */
export function withTimecode(command: Command): Command {
  return command
    .option('--timecode-rate <rate>', `frames a second of the timecode: ${FRAME_RATE_NAMES.join(', ')}`)
    .option('--timecode-start <label>', 'timecode of the first frame, e.g. 10:00:00:00')
    .option('--drop-frame', 'the timecode is drop-frame (29.97 and 59.94 only)')
}

/** What `withProgramme` adds to a command. */
export type ProgrammeOptions = CommonOptions &
  TimecodeOptions & {
    readonly speech?: boolean
    readonly layout?: LayoutName
    readonly order?: ChannelOrder
  }

/** Options of commands that read a programme, listen to it, and tell places in it. */
export function withProgramme(command: Command): Command {
  return withTimecode(withSpeech(withChannels(withCommon(command))))
}

/** Options of commands that write audio. */
export function withOutput(command: Command): Command {
  return command
    .addOption(new Option('--bits <n>', 'word length of the output').choices(['16', '24']).default('24'))
    .option('--replace', 'replace what is there already')
}

export function withSettings(command: Command): Command {
  return command.addOption(
    new Option('--set <name=value>', 'a setting; may be given several times').argParser(collect).default([], 'none'),
  )
}

/** Options of commands that upmix: where the settings start from. */
export function withStart(command: Command): Command {
  const ids = UPMIX_STARTS.map(({ id }) => id)
  return command.addOption(
    new Option('--start <id>', 'starting settings of the upmix by what the programme is; --set goes over them').choices(
      ids,
    ),
  )
}

/** Options of commands that fit: a mixer's own gains beside those of the sheet. */
export function withTrims(command: Command): Command {
  return command.addOption(
    new Option(
      '--trim <"from to gain">',
      'a gain in dB on a stretch, before all that the fit does; times as the report gives them; may be given several times',
    )
      .argParser(collectTrim)
      .default([], 'none'),
  )
}

function collectTrim(word: string, trims: readonly SheetTrim[]): readonly SheetTrim[] {
  const [from, to, gain, ...rest] = word.trim().split(/\s+/)
  const gainDb = Number(gain?.replace(/dB$/i, '').replace('\u2212', '-'))
  if (from === undefined || to === undefined || rest.length > 0 || !Number.isFinite(gainDb) || Math.abs(gainDb) > 60) {
    throw new InvalidArgumentError('Give it as "FROM TO GAIN", e.g. --trim "0:10:31.000 0:10:39.200 -2.5".')
  }
  return [...trims, { from, to, gainDb, glideMs: TRIM_GLIDE_MS, reason: null }]
}

/** The shortest glide that there is. */
const TRIM_GLIDE_MS = 100

export function withGain(command: Command): Command {
  return command.addOption(new Option('--gain <dB>', 'static gain').argParser(decibels).default(0))
}

import type { Command } from 'commander'
import { UPMIX_PARAMETERS } from '../../domain/index.ts'
import { explainUpmix, suggestUpmixScenes, type TimecodeOptions, TOOL_VERSION, upmix } from '../../jobs/index.ts'
import { withCommon, withGain, withOutput, withSettings, withSpeech, withStart, withTimecode } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { placed } from '../placed.ts'
import { printFindings, printMeasurements } from '../print.ts'
import { printMoment } from '../print-moment.ts'
import { printScenes } from '../print-scenes.ts'
import { refuse } from '../refusals.ts'
import { namedSettings, settingsHelp } from '../settings.ts'
import { answer, type CommonOptions } from '../terminal.ts'

type Options = CommonOptions &
  TimecodeOptions & {
    readonly start?: string
    readonly speech?: boolean
    readonly picture?: string
    readonly explain?: string
    readonly suggestScenes?: true
    readonly write?: string
    readonly set: readonly string[]
    readonly through?: readonly string[]
    readonly gain: number
    readonly bits: '16' | '24'
    readonly replace?: true
  }

const STEM_AND_OUTPUT = 2

export function addUpmix(program: Command): void {
  const command = program
    .command('upmix')
    .summary('a stereo master to 5.1, at its own level')
    .description(
      'Makes a 5.1 whose Lo/Ro fold-down is the stereo master again; an Lt/Rt is decoded, and its 5.1 encodes to it ' +
        'again. No fit: use "plimsoll deliver" for a delivery.',
    )
    .argument('<in>', 'two-track WAV, BWF, RF64, BW64 or FLAC; or the sheet of a title, scenes included')
    .argument('[out]', '5.1 WAV file to write; none where only a question is answered')
    .option(
      '--through <stem and output...>',
      'send a stem of the mix through the weights computed from IN: STEM.wav OUT.wav',
    )
    .option('--picture <svg>', 'also draw where the energy went over time: centre, fronts, surrounds, each channel')
    .option(
      '--explain <at>',
      'write no audio: tell what the upmix sees and does at a moment (timecode, H:MM:SS.mmm or seconds)',
    )
    .option('--suggest-scenes', 'write no audio: find stretches that sound alike, and settings to start from for each')
    .option('--write <sheet>', 'with --suggest-scenes: write a sheet with these scenes, to be edited and upmixed')
  withStart(withSettings(withGain(withOutput(withTimecode(withSpeech(withCommon(command)))))))
    .addHelpText(
      'after',
      `
Examples:
  plimsoll upmix saltmarsh-103-master.wav saltmarsh-103_51.wav
  plimsoll upmix master.wav 51.wav --set centreShare=0.8 --set ambienceShare=1.2 --gain -3
  plimsoll upmix saltmarsh-103.json saltmarsh-103_51.wav --start drama-dialogue
  plimsoll upmix saltmarsh-103-master.wav saltmarsh-103_51.wav --picture saltmarsh-103.svg
  plimsoll upmix mix.wav mix_51.wav --through dialogue.wav dialogue_51.wav
  plimsoll upmix saltmarsh-103.json --explain 10:12:03:00
  plimsoll upmix saltmarsh-103-master.wav --suggest-scenes --write saltmarsh-103.json

Settings:
${settingsHelp(UPMIX_PARAMETERS)}
Exit code: 0 written, 2 refused (also where the result would pass full scale: nothing is clipped).`,
    )
    .action(run)
}

function run(path: string, outPath: string | undefined, options: Options): Promise<void> {
  if (options.explain !== undefined) return explain(path, outPath, options.explain, options)
  if (options.suggestScenes) return suggest(path, outPath, options)
  return write(path, outPath, options)
}

/** What an upmix is told besides where to write. */
function told({ set, start: upmixStart, speech, workers, timecodeRate, timecodeStart, dropFrame }: Options) {
  const upmixSettings = namedSettings(UPMIX_PARAMETERS, set)
  return { upmix: upmixSettings, upmixStart, speech, workers, timecodeRate, timecodeStart, dropFrame }
}

function explain(path: string, outPath: string | undefined, at: string, options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    refuseOutputs('--explain', outPath, options)
    const asked = { ...told(options), signal }
    const { moment, sampleRateHz, clock, findings } = await explainUpmix(path, at, asked, progress)
    const ruler = { sampleRateHz, clock }
    return {
      code: EXIT.conforms,
      text: printMoment(path, moment, ruler) + printFindings(findings),
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        path,
        moment: placed(moment, ruler),
        findings,
      },
    }
  })
}

function suggest(path: string, outPath: string | undefined, options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    refuseOutputs('--suggest-scenes', outPath, options)
    const { write: sheet, replace } = options
    const asked = { ...told(options), sheet, replaces: replace ?? false, signal }
    const { scenes, findings, ...ruler } = await suggestUpmixScenes(path, asked, progress)
    const written = sheet === undefined ? '' : `written to "${sheet}": change it as you like, and upmix it\n`
    return {
      code: EXIT.conforms,
      text: `${path}\n${printScenes(scenes, ruler)}${printFindings(findings)}${written}`,
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        path,
        scenes: placed(scenes, ruler),
        findings,
        sheet: sheet ?? null,
      },
    }
  })
}

/** A question writes no audio. */
function refuseOutputs(question: string, outPath: string | undefined, { through, picture }: Options): void {
  const named = outPath ?? through?.[0] ?? picture
  if (named === undefined) return
  throw refuse('CLI_UPMIX_OUTPUT', `answer ${question}`, `"${named}", which would not be written`, {
    wanted: `${question} without an output, --through or --picture`,
  })
}

function write(path: string, outPath: string | undefined, options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    if (outPath === undefined) throw refuse('CLI_UPMIX_OUTPUT', `upmix "${path}"`, 'no output')
    const { gain: gainDb, through } = options
    const made = await upmix(
      path,
      outPath,
      {
        ...told(options),
        picture: options.picture,
        gainDb,
        bitsPerSample: options.bits === '16' ? 16 : 24,
        replaces: options.replace ?? false,
        through: through === undefined ? undefined : stemAndOutput(through),
        signal,
      },
      progress,
    )
    const files = made.through === null ? [made] : [made, made.through]
    return {
      code: EXIT.conforms,
      text: [
        ...files.map(({ path: name, measurements }) => `${name}\n${printMeasurements(measurements)}`),
        printFindings(made.findings),
      ].join('\n'),
      json: {
        version: 1,
        tool: { name: 'plimsoll', version: TOOL_VERSION },
        files: files.map(({ path: name, measurements }) => ({ path: name, ...measurements })),
        findings: made.findings,
      },
    }
  })
}

function stemAndOutput(words: readonly string[]): { readonly stem: string; readonly out: string } {
  const [stem, out] = words
  if (words.length === STEM_AND_OUTPUT && stem !== undefined && out !== undefined) return { stem, out }
  throw refuse('CLI_THROUGH_FORM', 'read --through', `${words.length} ${words.length === 1 ? 'name' : 'names'}`)
}

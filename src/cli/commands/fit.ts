import type { Command } from 'commander'
import { FIT_PARAMETERS, type SheetTrim } from '../../domain/index.ts'
import { fitFile, loadSpec, reportJson } from '../../jobs/index.ts'
import { type ProgrammeOptions, withOutput, withProgramme, withSettings, withTrims } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { printFindings, printMargins } from '../print.ts'
import { namedSettings, settingsHelp } from '../settings.ts'
import { answer } from '../terminal.ts'

type Options = ProgrammeOptions & {
  readonly spec?: string
  readonly trim: readonly SheetTrim[]
  readonly set: readonly string[]
  readonly bits: '16' | '24'
  readonly replace?: true
  readonly keepNonconforming?: true
  readonly writeDifference?: string
  readonly picture?: string
}

export function addFit(program: Command): void {
  const command = program
    .command('fit')
    .summary('bring one file of any layout inside a spec with the least movement')
    .description(
      'Static gain, then the least ride that holds the short-term and momentary lines, then the ceiling; the same gain on ' +
        'every channel. The layout and the length stay; the result is measured from the bytes that were written.',
    )
    .argument('<in>', 'WAV, BWF, RF64, BW64 or FLAC; or the sheet of a title')
    .argument('<out>', 'WAV file to write')
    .option(
      '--spec <spec>',
      'name of a delivery spec, or path of a spec file; outranks that of a sheet, waivers included',
    )
    .option('--keep-nonconforming', 'keep what does not conform, under a name that says so')
    .option(
      '--write-difference <out>',
      'also write what was done beyond the static gain, to be listened to: a float WAV file of the same layout',
    )
    .option('--picture <svg>', 'also draw what was altered over time: dialogue first, then each stage')
  withTrims(withSettings(withOutput(withProgramme(command))))
    .addHelpText(
      'after',
      `
Examples:
  plimsoll fit harbour-day.wav harbour-day-fitted.wav --spec ebu-r128
  plimsoll fit promo.wav promo-fitted.wav --spec ebu-r128-s1 --set rideReachSeconds=2
  plimsoll fit harbour-day.json harbour-day-fitted.wav
  plimsoll fit harbour-day.wav harbour-day-fitted.wav --spec ebu-r128 --write-difference harbour-day-difference.wav
  plimsoll fit harbour-day.wav harbour-day-fitted.wav --spec ebu-r128 --picture harbour-day-altered.svg
  plimsoll fit harbour-day.wav tried.wav --spec ebu-r128 --trim "0:10:31.000 0:10:39.200 -2.5" --set stages=trims --keep-nonconforming

Settings:
${settingsHelp(FIT_PARAMETERS)}
Exit code: 0 written and conforming, 1 not conforming (nothing is written), 2 refused.`,
    )
    .action(run)
}

function run(path: string, outPath: string, options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    const { workers, speech, layout, order, timecodeRate, timecodeStart, dropFrame } = options
    const { report, isWritten } = await fitFile(
      path,
      outPath,
      {
        spec: options.spec === undefined ? undefined : await loadSpec(options.spec),
        trims: options.trim,
        fit: namedSettings(FIT_PARAMETERS, options.set),
        bitsPerSample: options.bits === '16' ? 16 : 24,
        replaces: options.replace ?? false,
        keepsNonconforming: options.keepNonconforming ?? false,
        differencePath: options.writeDifference,
        picturePath: options.picture,
        workers,
        speech,
        layout,
        order,
        timecodeRate,
        timecodeStart,
        dropFrame,
        signal,
      },
      progress,
    )
    return {
      code: report.conforms ? EXIT.conforms : EXIT.finding,
      text: `${report.verdict}\n${isWritten ? '' : '  Nothing was written.\n'}${printMargins(report.margins)}${printFindings(report.findings)}`,
      json: reportJson(report),
    }
  })
}

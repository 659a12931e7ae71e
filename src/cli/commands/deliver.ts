import type { Command } from 'commander'
import { FIT_PARAMETERS, printFigure, printTimes, type SheetTrim, UPMIX_PARAMETERS } from '../../domain/index.ts'
import { type Delivery, deliver, loadSpec, reportJson } from '../../jobs/index.ts'
import { type ProgrammeOptions, withOutput, withProgramme, withSettings, withStart, withTrims } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { printFindings, printLock, printMargins } from '../print.ts'
import { namedSettings, settingsHelp, splitSettings } from '../settings.ts'
import { answer } from '../terminal.ts'

type Options = ProgrammeOptions & {
  readonly spec?: string
  readonly start?: string
  readonly trim: readonly SheetTrim[]
  readonly out: string
  readonly title?: string
  readonly set: readonly string[]
  readonly bits: '16' | '24'
  readonly replace?: true
  readonly keepNonconforming?: true
  readonly gainCurve?: true
  readonly writeDifference?: true
  readonly picture?: true
}

export function addDeliver(program: Command): void {
  const command = program
    .command('deliver')
    .summary('the whole job: a source in, a proven delivery out')
    .description(
      'Upmixes a stereo master to 5.1, decodes an Lt/Rt, or takes a 5.0, 5.1 or 7.1 mix as it is; fits it to a spec with ' +
        'the least movement, writes it with its Lo/Ro stereo or its Lt/Rt, measures the bytes that were written, and puts the delivery in place only if it ' +
        'conforms. The source is never written to.',
    )
    .argument('<source>', 'WAV, BWF, RF64, BW64 or FLAC; or the sheet of a title')
    .option(
      '--spec <spec>',
      'name of a delivery spec, or path of a spec file; outranks that of a sheet, waivers included',
    )
    .requiredOption('--out <folder>', 'folder of the delivery')
    .option('--title <id>', 'names the files; else the name of the source does')
    .option('--keep-nonconforming', 'keep what does not conform, under names that say so')
    .option('--gain-curve', 'also write the total gain of every frame as a mono float file')
    .option(
      '--write-difference',
      'also write what was done to the mix beyond the static gain, to be listened to: a float file of its layout',
    )
    .option('--picture', 'also draw what was altered over time as a file: dialogue first, then each stage')
  withTrims(withStart(withSettings(withOutput(withProgramme(command)))))
    .addHelpText(
      'after',
      `
Examples:
  plimsoll deliver saltmarsh-103-master.wav --spec atsc-a85-short --out delivery/103
  plimsoll deliver saltmarsh-103-master.wav --spec ebu-r128 --out delivery/103 --set surroundDelayMs=12
  plimsoll deliver harbour-day.wav --spec my-broadcaster.json --out delivery/harbour --replace
  plimsoll deliver harbour-day.wav --spec ebu-r128 --out delivery/harbour --write-difference --picture
  plimsoll deliver saltmarsh-103.json --out delivery/103

Settings:
${settingsHelp(UPMIX_PARAMETERS)}${settingsHelp(FIT_PARAMETERS)}
Exit code: 0 delivered and conforming, 1 not conforming (nothing is put in place, the page tells why), 2 refused.
Check the recipient's current written spec and your local rules: they decide, not the presets.`,
    )
    .action(run)
}

function run(path: string, options: Options): Promise<void> {
  return answer(options, async ({ signal, progress }) => {
    const { upmix, fit } = splitSettings(options.set)
    const { workers, speech, layout, order, timecodeRate, timecodeStart, dropFrame, out, title } = options
    const delivery = await deliver(
      path,
      {
        spec: options.spec === undefined ? undefined : await loadSpec(options.spec),
        trims: options.trim,
        out,
        title,
        upmixStart: options.start,
        upmix: namedSettings(UPMIX_PARAMETERS, upmix),
        fit: namedSettings(FIT_PARAMETERS, fit),
        bitsPerSample: options.bits === '16' ? 16 : 24,
        replaces: options.replace ?? false,
        keepsNonconforming: options.keepNonconforming ?? false,
        writesGain: options.gainCurve ?? false,
        writesDifference: options.writeDifference ?? false,
        drawsPicture: options.picture ?? false,
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
      code: delivery.report.conforms ? EXIT.conforms : EXIT.finding,
      text: printDelivery(delivery),
      json: reportJson(delivery.report),
    }
  })
}

function printDelivery({ report, isDelivered, reportPath }: Delivery): string {
  const { alteration, deliverables, foldDownLock, margins, findings, passes } = report
  const { ride, ceiling, total } = alteration
  const files = deliverables.map(({ path, measurements }) => {
    const { programmeLoudnessLkfs, dialogueLoudnessLkfs, maxTruePeakDbtp } = measurements
    const dialogue = dialogueLoudnessLkfs === null ? '' : `dialogue ${printFigure(dialogueLoudnessLkfs, 2)} LKFS, `
    return `  ${path}   ${printFigure(programmeLoudnessLkfs, 2)} LKFS, ${dialogue}${printFigure(maxTruePeakDbtp, 2)} dBTP\n`
  })
  const did = [
    `static gain ${printFigure(total.staticGainDb, 2)} dB`,
    ...(alteration.bandLines ?? []).map(
      ({ line, deepestDb }) => `${line.replaceAll('-', ' ')} band ${printFigure(deepestDb)} dB down at most`,
    ),
    ride === null ? 'no ride' : `ride ${printFigure(ride.movementDb)} dB of movement`,
    ceiling === null || ceiling.events === 0
      ? 'ceiling at rest'
      : `ceiling ${printTimes(ceiling.events)}, ${printFigure(ceiling.deepestDb)} dB at most`,
    `${passes} ${passes === 1 ? 'render' : 'renders'}`,
  ]
  return [
    `${report.verdict}\n`,
    ...(isDelivered ? files : ['  Nothing was put in place.\n']),
    `  ${did.join(', ')}\n`,
    isDelivered ? printLock(foldDownLock) : '',
    printMargins(margins),
    printFindings(findings),
    `  report: ${reportPath}\n`,
  ].join('')
}

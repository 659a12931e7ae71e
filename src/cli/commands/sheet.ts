import type { Command } from 'commander'
import { type Sheet, UPMIX_PARAMETERS, UPMIX_STARTS } from '../../domain/index.ts'
import { checkSheet, loadSpec, TOOL_VERSION, writeNewSheet } from '../../jobs/index.ts'
import { type ProgrammeOptions, withCommon, withProgramme, withStart } from '../options.ts'
import { EXIT } from '../outcome.ts'
import { answer, type CommonOptions } from '../terminal.ts'

type NewOptions = ProgrammeOptions & {
  readonly out: string
  readonly spec?: string
  readonly start?: string
  readonly replace?: true
}

export function addSheet(program: Command): void {
  const sheet = program
    .command('sheet')
    .summary('the sheet of a title: one file that holds its decisions')
    .description(
      'Writes a sheet to start from, checks one, or prints its JSON Schema, or lists the settings to start from. "measure", "fit" and "deliver" take a sheet ' +
        'in place of a file.',
    )
    .addHelpText(
      'after',
      `
Examples:
  plimsoll sheet new saltmarsh-103-master.wav --out saltmarsh-103.json --spec atsc-a85
  plimsoll sheet new reel-1.wav reel-2.wav --out harbour-day.json
  plimsoll sheet check saltmarsh-103.json
  plimsoll sheet starts
  plimsoll sheet schema > sheet.schema.json`,
    )
  const create = sheet
    .command('new')
    .description('write a sheet for a file or its reels, with the map that is found in the sound')
    .argument('<file...>', 'WAV, BWF, RF64, BW64 or FLAC; several are reels, in this order')
    .requiredOption('--out <sheet>', 'the sheet to write')
    .option('--spec <spec>', 'name of a delivery spec, to be written into the sheet')
    .option('--replace', 'replace a sheet that is there already')
  withStart(withProgramme(create)).action((paths: readonly string[], options: NewOptions) =>
    answer(options, async ({ signal, progress }) => {
      if (options.spec !== undefined) await loadSpec(options.spec)
      const { spec: specName, start: upmixStart, ...rest } = options
      const asked = { ...rest, specName, upmixStart, replaces: options.replace ?? false, signal }
      const { sheet: written, kindEvidence } = await writeNewSheet(paths, options.out, asked, progress)
      const why = kindEvidence.map((sentence) => `  ${sentence}\n`).join('')
      return {
        code: EXIT.conforms,
        text: `${options.out}\n${told(written)}${why}`,
        json: document(options.out, written),
      }
    }),
  )
  const check = sheet
    .command('check')
    .description('check a sheet: its words, its files and their hashes, and every time in it')
    .argument('<sheet>')
  withCommon(check).action((path: string, options: CommonOptions) =>
    answer(options, async ({ signal }) => {
      const checked = await checkSheet(path, signal)
      return {
        code: EXIT.conforms,
        text: `"${path}" is a valid sheet.\n${told(checked)}`,
        json: document(path, checked),
      }
    }),
  )
  const starts = sheet.command('starts').description('list the starting settings of an upmix, each with its reason')
  withCommon(starts).action((options: CommonOptions) =>
    answer(options, async () => ({
      code: EXIT.conforms,
      text: UPMIX_STARTS.map(startInWords).join(''),
      json: { version: 1, tool: { name: 'plimsoll', version: TOOL_VERSION }, starts: UPMIX_STARTS },
    })),
  )
  sheet
    .command('schema')
    .description('print the JSON Schema of a sheet, for editors')
    .action(async () => {
      const { sheetFileSchema } = await import('../../protocol/index.ts')
      process.stdout.write(`${JSON.stringify(sheetFileSchema(), null, 2)}\n`)
    })
}

function startInWords({ id, title, reason, settings }: (typeof UPMIX_STARTS)[number]): string {
  const unit = (name: string) => UPMIX_PARAMETERS[name as keyof typeof UPMIX_PARAMETERS].unit
  const said = Object.entries(settings).map(([name, value]) => `${name}=${value}${unit(name) ?? ''}`)
  return `${id}: ${title}\n  ${reason}\n  ${said.join(' ')}\n`
}

function document(path: string, sheet: Sheet): object {
  return { version: 1, tool: { name: 'plimsoll', version: TOOL_VERSION }, path, sheet }
}

/** What the sheet decides, a line each. */
function told({ title, sources, segments, spec, upmix, fit, waivers }: Sheet): string {
  const count = (entries: readonly unknown[], one: string) =>
    entries.length === 0 ? [] : [`${entries.length} ${one}${entries.length === 1 ? '' : 's'}`]
  const holds = [
    ...count(sources, 'source'),
    ...count(segments, 'segment'),
    ...count(upmix.scenes, 'scene'),
    ...count(fit.trims, 'trim'),
    ...count(fit.locks, 'lock'),
    ...count(fit.limits ?? [], 'limit'),
    ...count(fit.handRides ?? [], 'hand ride'),
    ...count(waivers, 'waiver'),
  ]
  return [
    `  ${title.name}: ${holds.join(', ')}; ${spec === null ? 'no spec named' : `for ${spec.id ?? spec.path}`}\n`,
    ...sources.slice(0, 1).flatMap(({ kind }) => (kind === null ? [] : [`  taken as ${kind} (sources[].kind)\n`])),
    ...segments.map(({ kind, name, from, to }) => `  ${from} to ${to}  ${kind}${name === null ? '' : ` (${name})`}\n`),
    ...upmix.scenes.map(({ name, from, to }) => `  ${from} to ${to}  scene${name === null ? '' : ` (${name})`}\n`),
  ].join('')
}

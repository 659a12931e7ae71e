import { existsSync } from 'node:fs'
import type { Command } from 'commander'
import {
  type BandLevelLimit,
  type Clause,
  type DeliverySpec,
  type Limit,
  lengthInWords,
  printFigure,
  rangeInWords,
} from '../../domain/index.ts'
import { exampleSpecFile, loadSpec } from '../../jobs/index.ts'
import { SPECS } from '../../specs/index.ts'
import { EXIT } from '../outcome.ts'
import { answer, type CommonOptions } from '../terminal.ts'

const ID_CELLS = 28
const LINE_CELLS = 24

export function addSpecs(program: Command): void {
  const specs = program
    .command('specs')
    .summary('the delivery specs, and spec files of your own')
    .description(
      'Lists the delivery specs, shows one with the clause behind each number, or checks a spec file of your own. Presets ' +
        "are transcribed from published documents and may be out of date: the recipient's current written spec decides.",
    )
    .addHelpText(
      'after',
      `
Examples:
  plimsoll specs
  plimsoll specs show ebu-r128
  plimsoll specs check my-broadcaster.json
  plimsoll specs example > my-broadcaster.json
  plimsoll specs schema > spec-file.schema.json`,
    )
  json(specs.command('list', { isDefault: true }).description('list the specs')).action((options: CommonOptions) =>
    answer(options, async () => ({
      code: EXIT.conforms,
      text: SPECS.map(
        ({ id, title, purpose }) => `${id.padEnd(ID_CELLS)}${title}\n${' '.repeat(ID_CELLS)}${purpose}\n`,
      ).join(''),
      json: { version: 1, specs: SPECS },
    })),
  )
  json(specs.command('show').description('show a spec, each number with its source').argument('<spec>')).action(
    (name: string, options: CommonOptions) =>
      answer(options, async () => {
        const spec = await loadSpec(name)
        return { code: EXIT.conforms, text: printSpec(spec), json: { version: 1, spec } }
      }),
  )
  json(specs.command('check').description('check a spec file of your own').argument('<file>')).action(
    (path: string, options: CommonOptions) =>
      answer(options, async () => {
        const spec = await loadSpec(existsSync(path) ? path : `./${path}`)
        return {
          code: EXIT.conforms,
          text: `"${path}" is a valid spec file.\n\n${printSpec(spec)}`,
          json: { version: 1, valid: true, spec },
        }
      }),
  )
  specs
    .command('example')
    .description('print a spec file to start your own from')
    .action(() => {
      process.stdout.write(exampleSpecFile())
    })
  specs
    .command('schema')
    .description('print the JSON Schema of a spec file, for editors')
    .action(async () => {
      const { specFileSchema } = await import('../../protocol/index.ts')
      process.stdout.write(`${JSON.stringify(specFileSchema(), null, 2)}\n`)
    })
}

function json(command: Command): Command {
  return command.option('--json', 'print one JSON document on stdout and nothing else there')
}

function printSpec(spec: DeliverySpec): string {
  const { programmeLoudness: loudness, sampleRatesHz } = spec
  const anchor = spec.anchor === 'dialogue' ? 'measured on dialogue' : 'measured on the whole programme'
  const range = `${printFigure(-loudness.toleranceBelowLu)} / +${printFigure(loudness.toleranceAboveLu)} LU, ${anchor}`
  return [
    `${spec.title} (${spec.id}, edition ${spec.edition})\n${spec.purpose}\n\n`,
    line('programme loudness', `${printFigure(loudness.targetLkfs)} LKFS, ${range}`, loudness.source),
    limitLine('max true peak', spec.maxTruePeakDbtp, 'dBTP'),
    limitLine('max LFE true peak', spec.maxLfeTruePeakDbtp, 'dBTP'),
    limitLine('max LFE short-term', spec.maxLfeShortTermDbfs, 'dBFS'),
    limitLine('max LFE over the fronts', spec.maxLfeOverFrontsDb, 'dB'),
    limitLine('max short-term', spec.maxShortTermLkfs, 'LKFS'),
    limitLine('max momentary', spec.maxMomentaryLkfs, 'LKFS'),
    limitLine('max loudness range', spec.maxLoudnessRangeLu, 'LU'),
    ...(spec.bandLevels ?? []).map((band) => limitLine(`max ${band.id}`, band, bandInWords(band))),
    ...(sampleRatesHz === undefined ? [] : [`  ${'sample rates'.padEnd(LINE_CELLS)}${sampleRatesHz.join(', ')} Hz\n`]),
    '\n',
    ...spec.notes.map((note) => `${note}\n`),
  ].join('')
}

function limitLine(name: string, limit: Limit | undefined, unit: string): string {
  if (limit === undefined) return ''
  const length = limit.length === undefined ? '' : `, for ${lengthInWords(limit.length)}`
  return line(
    name,
    `${printFigure(limit.value)} ${unit}${length}${limit.severity === 'warn' ? ' (warns only)' : ''}`,
    limit.source,
  )
}

/** What a band line looks at: `dBFS in 3 s, 30 to 120 Hz`. */
function bandInWords(band: BandLevelLimit): string {
  const unit = band.beside === 'full-scale' ? 'dBFS' : 'dB over the programme loudness'
  return `${unit} ${band.over === 'short-term' ? 'in any 3 s' : 'over the whole programme'}, ${rangeInWords(band)}`
}

function line(name: string, value: string, { document, edition, clause, basis }: Clause): string {
  return `  ${name.padEnd(LINE_CELLS)}${value}\n  ${' '.repeat(LINE_CELLS)}${document} ${edition}, ${clause} (${basis})\n`
}

// Writes the pages that are made from tables in the code: npx tsx scripts/write-pages.mjs
import { existsSync, readdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { FIT_PARAMETERS, UPMIX_PARAMETERS, UPMIX_STARTS } from '../src/domain/index.ts'
import { SPECS } from '../src/specs/index.ts'
import { root } from './ready.mjs'

const MADE_BY =
  'This page is made from tables in the code by `npx tsx scripts/write-pages.mjs`; a test holds them together.'

function table(head, rows) {
  const line = (cells) => `| ${cells.join(' | ')} |`
  return [line(head), line(head.map(() => '---')), ...rows.map(line)].join('\n')
}

async function refusals() {
  const layers = readdirSync(join(root, 'src')).filter((name) => existsSync(join(root, 'src', name, 'refusals.ts')))
  const sections = []
  for (const layer of layers.sort()) {
    const exported = await import(pathToFileURL(join(root, 'src', layer, 'refusals.ts')).href)
    const [, codes] = Object.entries(exported).find(([name]) => name.endsWith('_REFUSALS'))
    const rows = Object.entries(codes).map(([code, { sentence, wanted, remedy }]) => [
      `\`${code}\``,
      sentence,
      wanted,
      remedy,
    ])
    const sorted = rows.sort(([a], [b]) => (a < b ? -1 : 1))
    sections.push(`## ${layer}\n\n${table(['code', 'given when', 'needed', 'what to do'], sorted)}`)
  }
  return `# Refusals

Plimsoll refuses when it cannot read what it is given or cannot obey what it is told.
It then changes nothing, says in one sentence what it found, what it needs and what to do, and ends with exit code 2.
The codes are stable: scripts may rely on them.
${MADE_BY}

${sections.join('\n\n')}
`
}

/** How a setting may change where one scene glides into the next. */
const GLIDES = {
  ramp: 'sample by sample',
  frame: 'from transform to transform',
  fade: 'both settings run and are mixed',
  fixed: 'one value a title',
}

function settingsTable(parameters) {
  const rows = Object.entries(parameters).map(([name, row]) => [
    `\`${name}\``,
    row.kind === 'choice' ? row.choices.map((choice) => `\`${choice}\``).join(', ') : `${row.min} to ${row.max}`,
    row.unit ?? '',
    `${row.default}`,
    row.sentence,
    GLIDES[row.glide],
  ])
  return table(['name', 'range', 'unit', 'default', 'what it does', 'glides'], rows)
}

function startsTable() {
  const rows = UPMIX_STARTS.map(({ id, title, reason, settings: named }) => [
    `\`${id}\``,
    title,
    reason,
    Object.entries(named)
      .map(([name, value]) => `\`${name}=${value}\``)
      .join(' '),
  ])
  return table(['name', 'for', 'why', 'settings'], rows)
}

function settings() {
  return `# Settings

Every setting is given as \`--set name=value\`, as often as needed; an unknown name or a value outside the range is refused with the nearest valid one.
${MADE_BY}

## Upmix

${settingsTable(UPMIX_PARAMETERS)}

## Starting settings of an upmix

For \`--start\` and \`upmix.start\` of a sheet; what they do not name keeps its default.

${startsTable()}

## Fit

${settingsTable(FIT_PARAMETERS)}
`
}

const BASIS = {
  read: 'read in the document',
  summary: 'from a published summary',
  memory: 'from memory, not verified',
  'common practice': 'common practice',
  user: 'yours',
}

const signed = (value) => `${value}`.replace('-', '−')

const cite = ({ document, clause, basis }) => `${document}: ${clause} (${BASIS[basis]})`

function limitRow(name, limit, unit) {
  if (limit === undefined) return []
  const { value, severity, source } = limit
  return [
    [name, `at most ${signed(value)} ${unit}`, severity === 'fail' ? 'fails the delivery' : 'warns', cite(source)],
  ]
}

function specSection(spec) {
  const { targetLkfs, toleranceBelowLu, toleranceAboveLu, source } = spec.programmeLoudness
  const rows = [
    [
      'programme loudness',
      `${signed(targetLkfs)} LKFS, −${toleranceBelowLu} / +${toleranceAboveLu} LU`,
      'fails the delivery',
      cite(source),
    ],
    ...limitRow('true peak', spec.maxTruePeakDbtp, 'dBTP'),
    ...limitRow('true peak of the LFE', spec.maxLfeTruePeakDbtp, 'dBTP'),
    ...limitRow('short-term level of the LFE', spec.maxLfeShortTermDbfs, 'dBFS'),
    ...limitRow('LFE above the low end of the fronts', spec.maxLfeOverFrontsDb, 'dB'),
    ...limitRow('short-term loudness', spec.maxShortTermLkfs, 'LKFS'),
    ...limitRow('momentary loudness', spec.maxMomentaryLkfs, 'LKFS'),
    ...limitRow('loudness range', spec.maxLoudnessRangeLu, 'LU'),
    ...(spec.bandLevels ?? []).flatMap((band) =>
      limitRow(`band ${band.id}`, band, band.beside === 'full-scale' ? 'dBFS' : 'dB over the programme loudness'),
    ),
  ]
  return `## \`${spec.id}\`: ${spec.title}

${spec.purpose}
Edition: ${spec.edition}.

${table(['line', 'limit', 'if missed', 'source'], rows)}

${spec.notes.map((note) => `* ${note}`).join('\n')}`
}

function specs() {
  return `# Delivery specs

The specs that Plimsoll brings along, for \`--spec ID\`.
They are transcribed from published documents and may be out of date: **the recipient's current written spec, and local broadcast law, decide.**
Each number says where it is from and how sure we are of it.
A spec of your own is a JSON file, given by its path; \`docs/examples/north-coast-spec.json\` is one.
It may also limit the level of a band (\`bandLevels\`), and hold a line for programmes of a length only (\`length\`): see the [manual](manual.md#a-spec-of-your-own).
${MADE_BY}

${SPECS.map(specSection).join('\n\n')}
`
}

/** Path and content of every page as it should be. */
export async function pages() {
  return { 'docs/REFUSALS.md': await refusals(), 'docs/SETTINGS.md': settings(), 'docs/SPECS.md': specs() }
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href)
  for (const [path, text] of Object.entries(await pages())) writeFileSync(join(root, path), text)

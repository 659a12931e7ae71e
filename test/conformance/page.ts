import type { PublishedCase } from './ledger.ts'
import type { Obtained } from './obtained.ts'

const HEAD = `# Conformance of the meter

Made by \`test/conformance\`, which fails when a figure leaves its tolerance or when this page no longer says what is
measured (\`PLIMSOLL_WRITE_DOCS=1 npx vitest run test/conformance\` writes it). Signals that a document describes by
formula are synthesised; where a case cannot run, the reason stands in its place.
`

/** The page as Markdown: one table for each document. */
export function conformancePage(ledger: readonly PublishedCase[], obtained: ReadonlyMap<string, Obtained>): string {
  const documents = [...new Set(ledger.map(({ document }) => document))]
  const tables = documents.map((document) => {
    const rows = ledger.filter((published) => published.document === document)
    const ran = rows.filter(({ state }) => state === 'run').length
    return [
      `## ${document}`,
      '',
      `${ran} of ${rows.length} cases run.`,
      '',
      '| case | signal | figure | expected | tolerance | obtained |',
      '| --- | --- | --- | --- | --- | --- |',
      ...rows.map((published) => row(published, obtained.get(published.id))),
    ].join('\n')
  })
  return `${[HEAD, ...tables].join('\n')}\n`.replaceAll('\n## ', '\n\n## ').replaceAll('\n\n\n', '\n\n')
}

function row({ id, signal, figure, expected, tolerance, unit, state }: PublishedCase, obtained?: Obtained): string {
  const [below, above] = tolerance
  const allowed = below === above ? `±${below}` : `+${above} / -${below}`
  const cells = [
    id.split('/').slice(1).join('/'),
    signal,
    figure,
    expected === null ? 'not measurable' : `${printed(expected)} ${unit}`,
    expected === null ? '' : allowed,
    state === 'run' ? printedSpan(obtained ?? []) : `absent: ${state.absent}`,
  ]
  return `| ${cells.join(' | ')} |`
}

function printedSpan(obtained: Obtained): string {
  const values = obtained.filter((value) => value !== null)
  if (values.length === 0) return 'not measurable'
  const [low, high] = [printed(Math.min(...values)), printed(Math.max(...values))]
  return low === high ? low : `${low} to ${high}`
}

/** Two decimals, without a minus before zero. */
function printed(value: number): string {
  return (Math.round(value * 100) / 100 + 0).toFixed(2)
}

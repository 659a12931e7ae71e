/** What a part of the bench found, for reading and for `--json`. */
export type Table = {
  readonly title: string
  /** Column names carry their units. */
  readonly columns: readonly string[]
  readonly rows: readonly (readonly (string | number)[])[]
  readonly notes: readonly string[]
}

const SIGNIFICANT_DIGITS = 3

function cell(value: string | number): string {
  if (typeof value === 'string') return value
  const decimals = SIGNIFICANT_DIGITS - 1 - Math.floor(Math.log10(Math.max(Math.abs(value), 1e-9)))
  return value.toFixed(Math.max(0, Math.min(SIGNIFICANT_DIGITS, decimals)))
}

/** Columns in line; names to the left, figures to the right. */
export function printTable({ title, columns, rows, notes }: Table): string {
  const lines = [columns, ...rows.map((row) => row.map(cell))]
  const widths = columns.map((_, column) => Math.max(...lines.map((line) => (line[column] ?? '').length)))
  const printed = lines.map((line) =>
    line
      .map((text, column) =>
        typeof rows[0]?.[column] === 'string'
          ? text.padEnd(widths[column] as number)
          : text.padStart(widths[column] as number),
      )
      .join('  ')
      .trimEnd(),
  )
  const rule = widths.map((width) => '-'.repeat(width)).join('  ')
  return ['', title, printed[0], rule, ...printed.slice(1), ...notes.map((note) => `  ${note}`), ''].join('\n')
}

export function median(values: readonly number[]): number {
  const sorted = values.toSorted((a, b) => a - b)
  const middle = sorted.length >> 1
  return sorted.length % 2 === 1
    ? (sorted[middle] as number)
    : ((sorted[middle - 1] as number) + (sorted[middle] as number)) / 2
}

// Writes docs/REFUSALS.md from the tables in the code: npx tsx scripts/write-refusals.mjs
import { readdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { root } from './ready.mjs'

const INTRODUCTION = `# Refusals

Plimsoll refuses when it cannot read what it is given or cannot obey what it is told.
It then changes nothing, says in one sentence what it found, what it needs and what to do, and ends with exit code 2.
The codes are stable: scripts may rely on them.
This page is made from the tables in the code by \`npx tsx scripts/write-refusals.mjs\`; a test holds the two together.
`

/** Every table of refusals, by the layer that refuses. */
async function refusalTables() {
  const layers = readdirSync(join(root, 'src'), { withFileTypes: true }).filter((entry) => entry.isDirectory())
  const tables = []
  for (const { name } of layers.toSorted((a, b) => a.name.localeCompare(b.name))) {
    if (!readdirSync(join(root, 'src', name)).includes('refusals.ts')) continue
    const exported = await import(pathToFileURL(join(root, 'src', name, 'refusals.ts')).href)
    const [table] = Object.entries(exported)
      .find(([key]) => key.endsWith('_REFUSALS'))
      .slice(1)
    tables.push([name, table])
  }
  return tables
}

/** The page as it should be. */
export async function refusalsPage() {
  const sections = (await refusalTables()).map(([layer, table]) => {
    const rows = Object.entries(table)
      .toSorted(([a], [b]) => (a < b ? -1 : 1))
      .map(([code, { sentence, wanted, remedy }]) => `| \`${code}\` | ${sentence} | ${wanted} | ${remedy} |`)
    return `## ${layer}\n\n| code | given when | needed | what to do |\n| --- | --- | --- | --- |\n${rows.join('\n')}\n`
  })
  return `${INTRODUCTION}\n${sections.join('\n')}`
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href)
  writeFileSync(join(root, 'docs/REFUSALS.md'), await refusalsPage())

// Measures speed and memory, beside the peers where there are any, in one run.
// npm run bench [-- part...] [--rounds N] [--json]
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { parseArgs } from 'node:util'
import { delivering } from './delivering.ts'
import { describeMachine, load } from './machine.ts'
import { measuring } from './measuring.ts'
import { memory } from './memory.ts'
import { stages } from './stages.ts'
import { printTable, type Table } from './table.ts'

type Part = (folder: string, rounds: number) => readonly Table[]

const PARTS: Readonly<Record<string, Part>> = { measure: measuring, stages, deliver: delivering, memory }
/** Two hours of audio take minutes and 15 GB: only when they are asked for. */
const USUAL_PARTS = ['measure', 'stages', 'deliver']

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { rounds: { type: 'string', default: '5' }, json: { type: 'boolean', default: false } },
})
const names = positionals.length === 0 ? USUAL_PARTS : positionals
const unknown = names.find((name) => !(name in PARTS))
if (unknown !== undefined) throw new Error(`no part "${unknown}"; there are ${Object.keys(PARTS).join(', ')}`)

const tell = (text: string) => process.stderr.write(`${text}\n`)
const machine = describeMachine()
tell(
  Object.entries(machine)
    .map(([what, name]) => `${what} ${name}`)
    .join(', '),
)
const found: { part: string; loadBefore: number; loadAfter: number; tables: readonly Table[] }[] = []
for (const name of names) {
  const folder = mkdtempSync(join(tmpdir(), 'plimsoll-bench-'))
  try {
    const loadBefore = load()
    const tables = (PARTS[name] as Part)(folder, Number(values.rounds))
    const loadAfter = load()
    found.push({ part: name, loadBefore, loadAfter, tables })
    if (!values.json) console.log(tables.map(printTable).join(''))
    tell(`machine load ${loadBefore.toFixed(1)} before, ${loadAfter.toFixed(1)} after`)
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}
if (values.json) console.log(JSON.stringify({ machine, parts: found }, null, 2))

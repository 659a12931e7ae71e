// Measures speed and memory, beside the peers where there are any, in one run; see docs/performance.md.
// npm run bench [-- part...] [--rounds N] [--json]
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { parseArgs } from 'node:util'
import { delivering } from './delivering.ts'
import { describeMachine, load } from './machine.ts'
import { measuring } from './measuring.ts'
import { memory } from './memory.ts'
import { finding, listening } from './speech.ts'
import { stages } from './stages.ts'
import { printTable, type Table } from './table.ts'
import { asking } from './what-if.ts'

type Part = (folder: string, rounds: number) => readonly Table[]

const PARTS: Readonly<Record<string, Part>> = {
  measure: measuring,
  stages,
  deliver: delivering,
  memory,
  speech: (_, rounds) => [listening(rounds), ...finding()],
  'what-if': (_, rounds) => [asking(rounds)],
}
/** Two hours of audio take minutes and 15 GB: only when they are asked for. */
const USUAL_PARTS = ['measure', 'stages', 'deliver', 'what-if']

/** Runs one part in a folder of its own. */
function runPart(name: string, rounds: number) {
  const folder = mkdtempSync(join(tmpdir(), 'plimsoll-bench-'))
  try {
    const loadBefore = load()
    const tables = (PARTS[name] as Part)(folder, rounds)
    return { part: name, loadBefore, loadAfter: load(), tables }
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { rounds: { type: 'string', default: '5' }, json: { type: 'boolean', default: false } },
})
const names = positionals.length === 0 ? USUAL_PARTS : positionals
const rounds = Number(values.rounds)
if (names.some((name) => !(name in PARTS)) || !Number.isInteger(rounds) || rounds < 1) {
  console.error(`usage: npm run bench [-- ${Object.keys(PARTS).join(' ')}] [--rounds 1..] [--json]`)
  process.exit(2)
}

const machine = describeMachine()
const tell = values.json ? console.error : console.log
tell(
  Object.entries(machine)
    .map(([what, name]) => `${what} ${name}`)
    .join(', '),
)
const parts = names.map((name) => {
  const part = runPart(name, rounds)
  if (!values.json) console.log(part.tables.map(printTable).join(''))
  tell(`${name}: machine load ${part.loadBefore.toFixed(1)} before, ${part.loadAfter.toFixed(1)} after`)
  return part
})
if (values.json) console.log(JSON.stringify({ machine, parts }, null, 2))

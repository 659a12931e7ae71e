// How many faults are found that are none, over hours of clean programmes, and how many of those that were planted.
// npx tsx bench/faults/run.ts [clean] [planted] [--set tuned|held-out|fresh] [--only NAME] [--list]
import { parseArgs } from 'node:util'
import { printTable } from '../table.ts'
import { falseAlarms, searchClean } from './clean.ts'
import { SETS, type SetName } from './material.ts'
import { foundTable, searchPlanted } from './planted.ts'

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: {
    set: { type: 'string' },
    only: { type: 'string', default: '' },
    list: { type: 'boolean', default: false },
  },
})
const parts = positionals.length === 0 ? ['clean', 'planted'] : positionals
const sets = (values.set === undefined ? Object.keys(SETS) : [values.set]) as SetName[]
const tell = values.list ? console.error : () => {}

const programmesOf = (set: SetName) => SETS[set]().filter(({ name }) => name.includes(values.only))

for (const set of sets) {
  const programmes = programmesOf(set)
  if (parts.includes('clean')) console.log(printTable(falseAlarms(set, searchClean(programmes, tell))))
  if (parts.includes('planted')) console.log(printTable(foundTable(set, searchPlanted(programmes, tell))))
}

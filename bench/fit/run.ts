// The fit on real programmes: is every line met as other meters read it, and what does it cost beside convention?
// npx tsx bench/fit/run.ts FOLDER [lines] [convention] [--only NAME] [--spec ID,ID] [--minutes N | --series]
// What is done lies in FOLDER (6 GB) and is not done again.
import { parseArgs } from 'node:util'
import { printTable } from '../table.ts'
import { confirmedTable, type Refused } from './confirm.ts'
import { type Beside, compared, conventionTable } from './convention.ts'
import { type Exceptional, exceptionsTable } from './exceptions.ts'
import { type FitResult, fitted } from './lines.ts'
import { JOINED, lasting, REEL_RECIPES } from './long.ts'
import { RECIPES } from './material.ts'
import { prepare, prepareJoined } from './prepared.ts'
import { FIT_SPECS, HOUSE_RANGE, HOUSE_WINDOWS } from './specs.ts'
import { earsTable, linesTable, missedTable } from './tables.ts'

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: {
    only: { type: 'string', default: '' },
    spec: { type: 'string', default: '' },
    minutes: { type: 'string', default: '1' },
    series: { type: 'boolean', default: false },
  },
})
const [folder, ...asked] = positionals
if (folder === undefined) throw new Error('name the folder to work in')
const parts = asked.length === 0 ? ['lines', 'convention'] : asked
const recipes = RECIPES.filter(({ name }) => name.includes(values.only)).map((recipe) => {
  return lasting(recipe, Number(values.minutes))
})
const names = values.series ? [JOINED] : recipes
const programmeOf = (recipe: (typeof names)[number]) =>
  'seed' in recipe ? prepare(recipe, folder) : prepareJoined(recipe, REEL_RECIPES, folder)
const specs = FIT_SPECS.filter(({ id }) => values.spec === '' || values.spec.split(',').includes(id))

if (parts.includes('lines')) {
  const results: FitResult[] = []
  const refused: Refused[] = []
  const all: Exceptional[] = []
  const programmes = names.map(programmeOf)
  for (const spec of specs) {
    for (const programme of programmes) {
      const fit = await fitted(programme, spec, folder)
      results.push(fit)
      all.push({ fit, programme, spec })
      if (!fit.conforms) refused.push({ fit, programme, spec })
    }
    console.error(spec.id)
  }
  const tables = [
    linesTable(results),
    missedTable(results),
    confirmedTable(refused),
    earsTable(results),
    exceptionsTable(all),
  ]
  for (const table of tables) console.log(printTable(table))
}

if (parts.includes('convention')) {
  const all: Beside[] = []
  for (const spec of [HOUSE_WINDOWS, HOUSE_RANGE].filter((each) => specs.includes(each))) {
    for (const recipe of names) all.push(await compared(programmeOf(recipe), spec, folder))
  }
  console.log(printTable(conventionTable(all)))
}

import { readFileSync, writeFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { LEDGER } from './ledger.ts'
import { type Obtained, RUNS } from './obtained.ts'
import { conformancePage } from './page.ts'

const PAGE = new URL('../../docs/CONFORMANCE.md', import.meta.url)
const obtained = new Map<string, Obtained>()

describe('published cases, each inside the tolerance of its document', () => {
  for (const { id, expected, tolerance, state } of LEDGER) {
    if (state !== 'run') continue
    test(id, () => {
      const run = RUNS.get(id)
      expect(run, 'a case that is declared to run has a run').toBeDefined()
      const values = run?.() ?? []
      obtained.set(id, values)
      expect(values.length).toBeGreaterThan(0)
      for (const value of values) {
        if (expected === null || value === null) expect(value).toBe(expected)
        else {
          expect(value).toBeGreaterThanOrEqual(expected - tolerance[0])
          expect(value).toBeLessThanOrEqual(expected + tolerance[1])
        }
      }
    })
  }
})

describe('the ledger is whole', () => {
  const cases = (prefix: string) => LEDGER.filter(({ id }) => id.startsWith(prefix))

  test('no case runs that is not in the ledger or is declared absent', () => {
    const declared = new Set(LEDGER.filter(({ state }) => state === 'run').map(({ id }) => id))
    expect([...RUNS.keys()].filter((id) => !declared.has(id))).toEqual([])
  })

  test('every id stands once', () => {
    expect(new Set(LEDGER.map(({ id }) => id)).size).toBe(LEDGER.length)
  })

  test('as many cases as the documents have', () => {
    // Tech 3341 v4: signals 1 to 23, of which 10 and 13 are 20 files each and 11 and 14 have 20 steps each.
    const numbers = cases('tech-3341/').map(({ id }) => id.split('/')[1] as string)
    expect(new Set(numbers.map((number) => Number(number.split('-')[0])))).toEqual(
      new Set(Array.from({ length: 23 }, (_, i) => i + 1)),
    )
    for (const series of [10, 11, 13, 14]) {
      expect(numbers.filter((number) => number.startsWith(`${series}-`))).toHaveLength(20)
    }
    expect(cases('tech-3342/')).toHaveLength(6)
    // Report BS.2217 lists 47 files.
    expect(cases('bs-2217/')).toHaveLength(47)
  })
})

/** With PLIMSOLL_WRITE_DOCS=1 the page is written; otherwise it must say what was just measured. */
describe('the page in the documentation', () => {
  test('says what was measured', () => {
    const page = conformancePage(LEDGER, obtained)
    if (process.env.PLIMSOLL_WRITE_DOCS === '1') writeFileSync(PAGE, page)
    expect(readFileSync(PAGE, 'utf8')).toBe(page)
  })
})

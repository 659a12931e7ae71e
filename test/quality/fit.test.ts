import { expect, test } from 'vitest'
import { fitted } from '../../bench/fit/lines.ts'
import { RECIPES, type Recipe } from '../../bench/fit/material.ts'
import { prepare } from '../../bench/fit/prepared.ts'
import { leastMovingCompressor } from '../../bench/fit/searched.ts'
import { HOUSE_WINDOWS } from '../../bench/fit/specs.ts'
import { median } from '../../bench/table.ts'
import type { DeliverySpec } from '../../src/domain/index.ts'
import { EBU_R128_S1 } from '../../src/specs/ebu-r128.ts'
import { temporaryFolder } from '../testkit/wav.ts'

const folder = temporaryFolder()

function recipe(name: string, seconds: number): Recipe {
  const found = RECIPES.find((each) => each.name === name)
  if (found === undefined) throw new Error(`no programme "${name}"`)
  return { ...found, seconds }
}

// Oracles: FFmpeg, libebur128 and SciPy at sixteen times the rate read the files; lines of dialogue are known from how the
// programmes are made; the compressor is the textbook's, its settings searched for the same lines (see bench/fit).
// Real sound of Debian's fillets-ng, asterisk, singularity and ufoai packages. Floors: figures of docs/fit-quality.md.
test.each<[string, number, DeliverySpec, { dialogueLu: number; linesMoved: number }]>([
  ['promo, 5.1', 30, EBU_R128_S1, { dialogueLu: 0.65, linesMoved: 0 }],
  ['drama, acted, 2.0', 45, HOUSE_WINDOWS, { dialogueLu: 0.5, linesMoved: 2 }],
  ['very hot, 2.0', 45, HOUSE_WINDOWS, { dialogueLu: 0.5, linesMoved: 1 }],
])(
  '%s of %d s meets every line as other meters read it, and moves less than convention',
  async (name, seconds, spec, most) => {
    const programme = prepare(recipe(name, seconds), folder)
    const fit = await fitted(programme, spec, folder)
    expect(fit).toMatchObject({ conforms: true, missed: [] })
    expect(Math.abs(fit.offTargetLu)).toBeLessThanOrEqual(0.05)
    expect(fit.passes).toBeLessThanOrEqual(2)
    expect(fit.ride).not.toBeNull()
    expect(median(fit.dialogueChanges.map(Math.abs))).toBeLessThanOrEqual(most.dialogueLu)
    expect(fit.movesInLines.filter((db) => db > 0.5).length).toBeLessThanOrEqual(most.linesMoved)
    const convention = leastMovingCompressor(programme.mix10ms, spec)
    expect(fit.ride?.movementDb).toBeLessThan(convention?.movementDb ?? Number.POSITIVE_INFINITY)
  },
)

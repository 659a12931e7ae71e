// Sends every source of Lt/Rt programmes through the decoder and prints how well it came out in its own channel, for the
// set on which the decoder was tuned and for one that it never saw.
// npx tsx bench/matrix.ts
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import {
  type ChannelFigures,
  judgeDecoding,
  makeMatrixSet,
  readProgramme,
  SOURCES,
} from '../test/testkit/matrix-mixes.ts'

const SECONDS = 12

function printed(figures: ChannelFigures | undefined): string {
  if (figures === undefined) return ''
  const { separationDb, levelDb, cleannessDb, passiveDb } = figures
  const clean = (value: number) => (value > 100 ? 'exact' : value.toFixed(1))
  return `${separationDb.toFixed(1)} (${levelDb.toFixed(1)}), ${clean(passiveDb)} to ${clean(cleannessDb)}`
}

for (const set of ['tune', 'held']) {
  const folder = mkdtempSync(join(tmpdir(), 'matrix-'))
  try {
    console.log(`\n${set}: separation (level), cleanness by fixed weights to cleanness here; dB`)
    console.log(`| programme | ${SOURCES.join(' | ')} |\n| --- | --- | --- | --- | --- |`)
    for (const [name, sources] of Object.entries(makeMatrixSet(set, folder, SECONDS))) {
      const figures = judgeDecoding(readProgramme(folder, name, sources))
      console.log(`| ${name} | ${SOURCES.map((source) => printed(figures[source])).join(' | ')} |`)
    }
  } finally {
    rmSync(folder, { recursive: true })
  }
}

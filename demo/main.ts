// Makes the sound of the demo titles: tsx demo/main.ts OUTDIR [TITLE]...
import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { harbourDay } from './harbour-day.ts'
import { saltmarshLane } from './saltmarsh-lane.ts'
import { readLines } from './voices/read-lines.ts'
import { writeWav } from './wav.ts'

const TITLES = { 'saltmarsh-lane': saltmarshLane, 'harbour-day': harbourDay }

const [folder, ...wanted] = process.argv.slice(2)
if (folder === undefined) throw new Error('Name the folder that takes the sound files')
mkdirSync(folder, { recursive: true })
const lines = await readLines()
for (const [title, perform] of Object.entries(TITLES)) {
  if (wanted.length === 0 || wanted.includes(title)) writeWav(join(folder, `${title}.wav`), perform(lines))
}

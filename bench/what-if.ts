import { trimPoints, WhatIf } from '../src/domain/index.ts'
import { dramaEnergies, seededRandom } from '../test/testkit/programmes.ts'
import { median, type Table } from './table.ts'

const SECONDS = 7200
const FRAMES_PER_HOP = 4800
const FRAMES_PER_SECOND = 48000
const REGION_SECONDS = [1, 10, 60, 600, SECONDS]
const QUESTIONS_PER_ROUND = 20

/** How long a question to a two-hour programme takes: a trim on a region at a random place, every figure answered. */
export function asking(rounds: number): Table {
  const powers10ms = dramaEnergies(SECONDS, 1)
  const random = seededRandom(2)
  const timed = (work: () => void): number => {
    const start = performance.now()
    work()
    return performance.now() - start
  }
  const build = () => new WhatIf([{ powers10ms, file: 0, firstFineHop: 0, isSpeech100ms: null }])
  const whatIf = build()
  const ask = (seconds: number) => {
    const startFrame = Math.floor(random() * (SECONDS - seconds) * FRAMES_PER_SECOND)
    const endFrame = startFrame + seconds * FRAMES_PER_SECOND
    const trim = { startFrame, endFrame, gainDb: 24 * random() - 12, glideMs: 500, reason: null }
    whatIf.under([trimPoints([trim], SECONDS * 10, FRAMES_PER_HOP)])
  }
  const row = (name: string, milliseconds: readonly number[]) => [name, median(milliseconds), Math.max(...milliseconds)]
  for (let i = 0; i < QUESTIONS_PER_ROUND; i++) ask(REGION_SECONDS[i % REGION_SECONDS.length] as number)
  const times = (count: number, work: () => void) => Array.from({ length: count }, () => timed(work))
  return {
    title: 'What if: one question to a two-hour programme',
    columns: ['trimmed region', 'median ms', 'worst ms'],
    rows: [
      ...REGION_SECONDS.map((seconds) =>
        row(
          `${seconds} s`,
          times(rounds * QUESTIONS_PER_ROUND, () => ask(seconds)),
        ),
      ),
      row(
        'build, first question',
        times(rounds, () => build().under([null])),
      ),
    ],
    notes: ['Total, range, highest momentary and short-term window; random places; an invented drama.'],
  }
}

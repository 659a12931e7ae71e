import type { Table } from '../table.ts'
import { isBorneOut, isGenuine } from './confirm.ts'
import { type Finding, lookAt } from './look.ts'
import type { Programme, SetName, Sound } from './material.ts'

export type Hit = {
  readonly programme: string
  readonly sort: Programme['sort']
  readonly finding: Finding
  readonly seconds: number
  readonly isTrue: boolean
}

export type Search = { readonly hours: Readonly<Record<string, number>>; readonly hits: readonly Hit[] }

/** Places that are told for the map of a master and are no fault wherever they lie. */
const NO_FAULT = ['head silence', 'tail silence']

/** Searches programmes as they are. */
export function searchClean(programmes: readonly Programme[], tell: (line: string) => void): Search {
  const hours: Record<string, number> = {}
  const hits: Hit[] = []
  for (const programme of programmes) {
    const sound = programme.read()
    const seconds = (sound.planes[0] as Float32Array).length / sound.sampleRateHz
    hours[programme.sort] = (hours[programme.sort] ?? 0) + seconds / 3600
    for (const finding of lookAt(sound)) {
      if (NO_FAULT.includes(finding.id)) continue
      const isTrue = isTrueOf(programme, finding, sound)
      const { name, sort } = programme
      hits.push({ programme: name, sort, finding, seconds: finding.startFrame / sound.sampleRateHz, isTrue })
      tell(JSON.stringify({ programme: name, rate: sound.sampleRateHz, isTrue, ...finding }))
    }
  }
  return { hours, hits }
}

/** A band limit is true of everything that went through a lossy coder or a low rate. */
function isTrueOf({ name, isCoded }: Programme, finding: Finding, sound: Sound): boolean {
  if (finding.id === 'band-limit') return isCoded
  return isBorneOut(finding, sound) ?? isGenuine(name, finding)
}

/** Each occurrence counts, not each line of the report. */
const sum = (hits: readonly Hit[]) => hits.reduce((total, { finding }) => total + finding.count, 0)

export function falseAlarms(set: SetName, { hours, hits }: Search): Table {
  const total = Object.values(hours).reduce((a, b) => a + b, 0)
  const ids = [...new Set(hits.map(({ finding }) => finding.id))].toSorted()
  const row = (name: string, all: readonly Hit[]) => {
    const wrong = all.filter(({ isTrue }) => !isTrue)
    return [name, sum(all) - sum(wrong), sum(wrong), sum(wrong) / total]
  }
  const searched = Object.entries(hours).map(([sort, length]) => `${sort} ${length.toFixed(2)} h`)
  return {
    title: `False faults, ${set}: ${total.toFixed(2)} h (${searched.join(', ')})`,
    columns: ['fault', 'borne out by the samples', 'false', 'false an hour'],
    rows: [
      ...ids.map((id) =>
        row(
          id,
          hits.filter(({ finding }) => finding.id === id),
        ),
      ),
      row('all', hits),
    ],
    notes: hits
      .filter(({ isTrue }) => !isTrue)
      .map(({ programme, finding, seconds }) => {
        return `${finding.id} x${finding.count} in ${programme} (${finding.channels.join(' ')}) at ${seconds.toFixed(3)} s`
      }),
  }
}

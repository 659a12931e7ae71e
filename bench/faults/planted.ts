import { median, type Table } from '../table.ts'
import { type Finding, lookAt } from './look.ts'
import type { Programme, SetName } from './material.ts'
import { excerptOf, type Plant, plantingsFor } from './plants.ts'

export type Found = {
  readonly programme: string
  readonly what: string
  /** How far the named place lies from the planted one; null where the fault was not found. */
  readonly errorSeconds: number | null
}

/** Electronic, orchestral and rock music, effects over an atmosphere, voices alone, and a 5.1 of all of them. */
const PLANTED_IN = [
  'Nebula.ogg',
  'Awakening.ogg',
  'fillets-ng-data-cs A',
  'A, 5.1',
  'subcities.ogg',
  'battle.ogg',
  'track15.opus',
  'openarena-data, premix',
  'fillets-ng-data-cs B',
  'C, 5.1',
]

/** A place that lies farther off is another finding. */
const FARTHEST_SECONDS = 1.5

/** Lays all faults into an excerpt of each programme of the list above and looks for them. */
export function searchPlanted(programmes: readonly Programme[], tell: (line: string) => void): Found[] {
  return programmes
    .filter(({ name }) => PLANTED_IN.includes(name))
    .flatMap((programme) => {
      const clean = excerptOf(programme.read())
      return plantingsFor(clean).flatMap((planting) => {
        const { sound, plants } = planting(clean)
        const findings = lookAt(sound)
        return plants.map((plant) => {
          const errorSeconds = errorOf(plant, findings, sound.sampleRateHz)
          if (errorSeconds === null) tell(JSON.stringify({ programme: programme.name, missed: plant }))
          return { programme: programme.name, what: plant.what, errorSeconds }
        })
      })
    })
}

function errorOf({ id, startFrame, channels }: Plant, findings: readonly Finding[], rate: number): number | null {
  const errors = findings
    .filter((finding) => finding.id === id && channels.every((role) => finding.channels.includes(role)))
    .flatMap(({ places }) => places.map((place) => Math.abs(place.startFrame - startFrame) / rate))
    .filter((error) => error <= FARTHEST_SECONDS)
  return errors.length === 0 ? null : Math.min(...errors)
}

export function foundTable(set: SetName, found: readonly Found[]): Table {
  const programmes = new Set(found.map(({ programme }) => programme))
  const rows = [...new Set(found.map(({ what }) => what))].map((what) => {
    const own = found.filter((each) => each.what === what)
    const errors = own.flatMap(({ errorSeconds }) => (errorSeconds === null ? [] : [1000 * errorSeconds]))
    const worst = errors.length === 0 ? '-' : Math.max(...errors).toFixed(2)
    return [what, `${errors.length}/${own.length}`, errors.length === 0 ? '-' : median(errors).toFixed(2), worst]
  })
  return {
    title: `Planted faults, ${set}: a minute each of ${[...programmes].join(', ')}`,
    columns: ['planted', 'found', 'time error, median ms', 'largest ms'],
    rows,
    notes: found
      .filter(({ errorSeconds }) => errorSeconds === null)
      .map(({ what, programme }) => `missed: ${what} in ${programme}`),
  }
}

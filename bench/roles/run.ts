// How often the detector of roles errs on 5.1 that is in order, and what it finds of errors that are planted: the
// tables of docs/inspection.md. npx tsx bench/roles/run.ts [--excerpts N]; a minute for two excerpts on a calm machine.
import { parseArgs } from 'node:util'
import type { Role, RoleFault, Roles } from '../../src/domain/index.ts'
import { rolesDetector } from '../../src/engine/intake/roles/index.ts'
import { printTable } from '../table.ts'
import { casesOf } from './cases.ts'
import { Looker } from './look.ts'
import { Material, RATE } from './material.ts'
import { WAYS, type Way } from './mixes.ts'
import { PLANTED } from './planted.ts'

type Clean = { mixes: number; seconds: number; made: number; readonly alarms: string[] }
type Errors = { planted: number; found: number; readonly missed: Set<string> }

const { values } = parseArgs({ options: { excerpts: { type: 'string' } } })
const clean = new Map(WAYS.map((way): [Way, Clean] => [way, { mixes: 0, seconds: 0, made: 0, alarms: [] }]))
const errors = new Map(
  PLANTED.map((each): [string, Errors] => [each.name, { planted: 0, found: 0, missed: new Set() }]),
)

const isTrue = ({ isSo }: Way, { kind, channels }: RoleFault) =>
  kind === isSo && channels.every((role: Role) => role === 'C')

function tallyClean(way: Way, frameCount: number, { faults, stereoOrigin }: Roles): void {
  const tally = clean.get(way)!
  tally.mixes++
  tally.seconds += frameCount / RATE
  if (stereoOrigin !== null) tally.made++
  for (const fault of faults) if (!isTrue(way, fault)) tally.alarms.push(`${fault.kind} ${fault.channels.join(' ')}`)
}

const material = new Material()
try {
  const looker = new Looker()
  const count = Math.min(material.excerpts.length, Number(values.excerpts ?? material.excerpts.length))
  for (let place = 0; place < count; place++) {
    for (const { way, planted, planes } of casesOf(looker.kernels, material, place)) {
      const { evidence, programme } = looker.look(planes)
      const roles = rolesDetector.conclude(evidence, programme)
      if (planted === null) {
        tallyClean(way, programme.frameCount, roles)
        continue
      }
      const tally = errors.get(planted.name)!
      tally.planted++
      if (planted.isFound(roles)) tally.found++
      else tally.missed.add(way.name)
    }
  }
} finally {
  material.remove()
}

const tallies = [...clean.values()]
const hours = tallies.reduce((sum, { seconds }) => sum + seconds, 0) / 3600
const alarms = tallies.reduce((sum, tally) => sum + tally.alarms.length, 0)
console.log(
  printTable({
    title: '5.1 that is in order',
    columns: ['way', 'mixes', 'hours', 'named as made of two tracks', 'alarms'],
    rows: WAYS.map((way) => {
      const { mixes, seconds, made, alarms } = clean.get(way)!
      return [way.name, String(mixes), (seconds / 3600).toFixed(2), String(made), alarms.join(', ') || 'none']
    }),
    notes: [`${hours.toFixed(1)} h, ${alarms} alarms`],
  }),
  printTable({
    title: 'Errors planted in them',
    columns: ['error', 'found', 'planted', 'missed in'],
    rows: [...errors].map(([name, { planted, found, missed }]) => [
      name,
      String(found),
      String(planted),
      [...missed].join('; '),
    ]),
    notes: [],
  }),
)

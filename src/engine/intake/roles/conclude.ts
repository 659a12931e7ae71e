import { LAYOUTS, powerToDb, printFigure, type Role, type RoleFault, type Roles } from '../../../domain/index.ts'
import type { Inspected } from '../detector.ts'
import type { RolesEvidence } from './evidence.ts'
import { findWrongOrder, isFullRange, type OrderFinding, SILENT_POWER } from './order.ts'
import { findRoleFaults } from './role-faults.ts'
import { findStereoOrigin } from './stereo-origin.ts'
import { type RolesSummary, summarise } from './summary.ts'

export function concludeRoles(evidence: readonly RolesEvidence[], programme: Inspected): Roles {
  const roles = LAYOUTS[programme.layout]
  const summary = summarise(evidence, programme)
  if (summary.channelCount === 0) return { evidence: [], order: null, faults: [], stereoOrigin: null }
  const wrong = programme.layout === '5.1' ? findWrongOrder(summary, roles) : null
  const faults = findRoleFaults(summary, roles, wrong !== null)
  return {
    evidence: evidenceOf(summary, roles),
    order: wrong?.order ?? null,
    faults: wrong === null ? faults : [orderFault(wrong, roles), ...faults],
    stereoOrigin: wrong === null ? findStereoOrigin(summary, roles, programme.sampleRateHz) : null,
  }
}

function orderFault({ order, confidence, evidence }: OrderFinding, roles: readonly Role[]): RoleFault {
  const names = { itu: 'L R C LFE Ls Rs', film: 'L C R Ls Rs LFE', aac: 'C L R Ls Rs LFE' }
  return {
    kind: 'wrong-order',
    channels: [...roles],
    confidence,
    evidence: order === null ? evidence : [...evidence, `The order that fits is ${names[order]}.`],
    remedy: order === null ? 'Name the order with --order after listening.' : `Read the file with --order ${order}.`,
  }
}

function evidenceOf(summary: RolesSummary, roles: readonly Role[]): string[] {
  const lfe = roles.indexOf('LFE')
  const c = roles.indexOf('C')
  const sentences: string[] = []
  if (lfe >= 0 && summary.powers[lfe]! < SILENT_POWER) sentences.push('The LFE is silent.')
  else if (lfe >= 0 && !isFullRange(summary, lfe)) {
    const share = powerToDb(summary.highShares[lfe]! + 1e-10).toFixed(0)
    sentences.push(`The LFE has ${share} dB of its energy above 250 Hz, as it should.`)
  }
  if (summary.speechRiseDb !== null) {
    const rise = summary.speechRiseDb
    const fronts = Math.max(rise[0]!, rise[1]!)
    sentences.push(`Speech raises C by ${printFigure(rise[c]!, 0)} dB and the fronts by ${printFigure(fronts, 0)} dB.`)
  }
  return sentences
}

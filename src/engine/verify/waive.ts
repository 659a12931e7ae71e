import type { DeliverySpec, Finding } from '../../domain/index.ts'

/** Findings with what was waived turned into notes that give the reason. */
export function waive(findings: readonly Finding[], { waivers = [] }: DeliverySpec): readonly Finding[] {
  return findings.map((finding) => {
    const waiver = waivers.find(({ line }) => line === finding.line)
    if (waiver === undefined || finding.severity === 'note') return finding
    return { ...finding, severity: 'note', message: `${finding.message} Waived: ${waiver.reason}.` }
  })
}

import {
  type DeliveredFile,
  type DeliverySpec,
  type Finding,
  isJudgedOnDialogue,
  type Margin,
  printFigure,
} from '../../domain/index.ts'

/** The outcome of a delivery in one sentence to the mixer. */
export function verdictSentence(
  title: string,
  spec: DeliverySpec,
  deliverables: readonly DeliveredFile[],
  findings: readonly Finding[],
  margins: readonly Margin[],
): string {
  const failed = findings.filter((finding) => finding.severity === 'fail')
  if (failed.length > 0) {
    const rest = failed.length - 1
    const more = rest === 0 ? '' : ` ${rest} more ${rest === 1 ? 'finding fails' : 'findings fail'} it.`
    return `${title} does not conform to ${spec.title}. ${failed[0]?.message}${more}`
  }
  const main = deliverables[0]?.measurements
  const isDialogue = main !== undefined && isJudgedOnDialogue(spec, main)
  const loudness = (isDialogue ? main.dialogueLoudnessLkfs : main?.programmeLoudnessLkfs) ?? null
  const stands = `${isDialogue ? 'its dialogue' : 'it'} stands at ${printFigure(loudness)} LKFS with a highest true peak of ${printFigure(main?.maxTruePeakDbtp ?? null)} dBTP`
  const inside = margins.flatMap(({ margin, severity }) => (margin === null || severity === 'warn' ? [] : [margin]))
  const least = inside.length === 0 ? '' : `, and no margin is thinner than ${printFigure(Math.min(...inside))} dB`
  return `${title} conforms to ${spec.title}: ${stands}${least}.`
}

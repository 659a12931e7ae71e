import type { JudgedMix } from '../../test/testkit/mixes-metrics.ts'
import { type Claim, isWithin, type Judged } from './claims.ts'

export const FIGURES: Readonly<Record<Exclude<keyof JudgedMix, 'balances'>, string>> = {
  dialogueInCentrePercent: 'dialogue in C %',
  dialogueCleannessDb: 'dlg artefact ratio dB',
  dialogueInSurroundsDb: 'dlg in Ls+Rs dB',
  effectsInCentreDb: 'fx in C dB',
  preEchoDb: 'pre-echo dB',
  applauseInSurroundsDb: 'applause in Ls+Rs dB',
  ambienceInSurroundsDb: 'amb. in Ls+Rs dB',
  ambienceInCentreDb: 'amb. in C dB',
  surroundAmbientToDirectDb: 'Ls+Rs amb/dir dB',
  inputAmbientToDirectDb: 'input amb/dir dB',
  imageErrorMeanDegrees: 'image mean deg',
  imageErrorMaxDegrees: 'image max deg',
  surroundCoherence: 'Ls/Rs coh.',
  worstSurroundCoherence: 'worst 3 s',
  unevenness: 'kurtosis index',
  pulledApartDb: 'pulled apart dB',
  centreMutedDb: 'C muted dB',
  swayDb: 'sway dB',
}

export function shown(value: number | null): string {
  return value === null || Number.isNaN(value) ? '-' : value.toFixed(2)
}

/** A table in Markdown. */
export function table(title: string, head: readonly string[], rows: readonly (readonly string[])[]): void {
  const line = (cells: readonly string[]) => `| ${cells.join(' | ')} |`
  console.log([`\n${title}\n`, line(head), line(head.map(() => '---')), ...rows.map(line)].join('\n'))
}

export function claimRow(claim: Claim, recorded: Judged, others: readonly Judged[]): readonly string[] {
  const { what, floor, aim } = claim
  const [sign, bound] = 'most' in floor ? ['<=', floor.most] : ['>=', floor.least]
  const value = claim.of(recorded)
  const verdict = isWithin(value, floor) ? 'yes' : `**no**, by ${shown(Math.abs(value - bound))}`
  const beside = others.map((each) => shown(claim.of(each)))
  return [what, `${sign} ${bound}`, aim === undefined ? '' : String(aim), shown(value), verdict, ...beside]
}

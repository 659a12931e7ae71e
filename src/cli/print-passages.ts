import { inWords, labelAt, type Passage, printFigure, printTime } from '../domain/index.ts'
import type { PassagesOfFile } from '../jobs/index.ts'
import { printRange } from './placed.ts'
import { printFindings } from './print.ts'

const KIND_WORDS: Readonly<Record<Passage['kind'], string>> = {
  'too-loud': 'too loud',
  'too-soft': 'too soft',
  'level-step': 'level step',
  'line-up-tone': 'line-up tone',
  'thinnest-margin': 'least room',
}

/** Channels that carry less than this of a passage are not named. Our own choice. */
const SMALLEST_SHARE = 0.05
const MOST_CHANNELS = 4

/**
 * The passages as a mixer reads them before going back to the edit, a few lines each; where nobody listened for speech,
 * also that no line was looked at.
 */
export function printPassages(found: PassagesOfFile, written: readonly string[], listened: boolean): string {
  const { path, spec, conforms, programmeLoudnessLkfs, withoutTrims, passages, findings } = found
  const without = withoutTrims === null ? '' : `, without trims ${printFigure(withoutTrims.programmeLoudnessLkfs, 2)}`
  return [
    `${path}: ${conforms ? 'conforms' : 'does not conform'} to ${spec.title}\n`,
    `  ${describeFile(found)}\n`,
    `  programme loudness ${printFigure(programmeLoudnessLkfs, 2)}${programmeLoudnessLkfs === null ? '' : ' LKFS'}${without}\n`,
    ...(listened ? [] : ['  dialogue was not listened for: lines that are too soft were not looked for\n']),
    ...(passages.length === 0 ? ['  no passages\n'] : passages.map((passage) => printPassage(passage, found))),
    ...(findings.length === 0 ? [] : ['\n', printFindings(findings)]),
    ...written.map((file) => `  written: ${file}\n`),
  ].join('')
}

function describeFile({ layout, sampleRateHz, frameCount, clock }: PassagesOfFile): string {
  const shape = `${layout}, ${sampleRateHz / 1000} kHz, ${printTime(frameCount / sampleRateHz, 2)}`
  return clock === null ? shape : `${shape}, from ${labelAt(clock, 0)} at ${inWords(clock.format)}`
}

function printPassage(passage: Passage, found: PassagesOfFile): string {
  const { rank, kind, dialogueShare, message } = passage
  const dialogue = dialogueShare === null ? '' : `; dialogue ${percent(dialogueShare)}`
  const lines = [message, ...trimWords(passage), `carried by ${carriers(passage)}${dialogue}`]
  const head = `  ${String(rank).padStart(2)}  ${printRange(passage, found)}   ${KIND_WORDS[kind]}`
  return `\n${head}\n${lines.map((text) => `      ${text}\n`).join('')}`
}

function carriers({ carriedBy }: Passage): string {
  const named = carriedBy.filter(({ share }, index) => index === 0 || share >= SMALLEST_SHARE).slice(0, MOST_CHANNELS)
  return named.map(({ role, share }) => `${role} ${percent(share)}`).join(', ')
}

function trimWords({ suggestedTrimDb, effect, marginalLuPerDb }: Passage): readonly string[] {
  const perDb = marginalLuPerDb === null ? '' : `each dB here moves the total by ${printFigure(marginalLuPerDb, 2)} LU`
  if (suggestedTrimDb === null) return perDb === '' ? [] : [perDb]
  const trim = `trim ${signed(suggestedTrimDb, 1)} dB`
  if (effect === null) return [trim]
  const { programmeLoudnessBeforeLkfs: before, programmeLoudnessAfterLkfs: after, changeLu } = effect
  const total = `the total goes from ${printFigure(before, 2)} to ${printFigure(after, 2)} LKFS (${signed(changeLu, 2)} LU)`
  return [`${trim}: ${total}${perDb === '' ? '' : `; ${perDb}`}`]
}

function signed(value: number, decimals: number): string {
  const text = printFigure(value, decimals)
  return value > 0 && Number(value.toFixed(decimals)) !== 0 ? `+${text}` : text
}

function percent(share: number): string {
  return `${Math.round(share * 100)} %`
}

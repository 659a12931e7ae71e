import { type DeliveryReport, type Measurements, printFigure, printTime } from '../domain/index.ts'
import { type Markup, markup } from './markup.ts'
import { FILE_WORDS, figureWords } from './words.ts'

type DialogueRow = {
  readonly name: string
  readonly unit: string
  readonly value: (measurements: Measurements) => number | null
}

const ROWS: readonly DialogueRow[] = [
  { name: 'Dialogue loudness', unit: 'LKFS', value: ({ dialogueLoudnessLkfs }) => dialogueLoudnessLkfs },
  {
    name: 'Programme minus dialogue',
    unit: 'LU',
    value: ({ dialogue }) => dialogue?.programmeMinusDialogueLu ?? null,
  },
  {
    name: 'Dialogue over its background',
    unit: 'LU',
    value: ({ dialogue }) => dialogue?.dialogueOverBackgroundLu ?? null,
  },
]

/** How the dialogue stands before and after, and its quietest lines. Null where nobody listened, or nobody speaks. */
export function dialogue(report: DeliveryReport): Markup | null {
  const { source, deliverables } = report
  const { dialogueShare } = source.measurements
  const after = deliverables[0]?.measurements ?? source.measurements
  if (dialogueShare === null || after.dialogue === null) return null
  const files = [
    { name: 'Source', measurements: source.measurements },
    ...deliverables.map(({ role, measurements }) => ({ name: FILE_WORDS[role], measurements })),
  ]
  const rows = ROWS.map(
    ({ name, unit, value }) =>
      markup`<tr><th scope="row">${name} <span class="unit">${unit}</span></th>${files.map(({ measurements }) => markup`<td class="number">${figureWords(value(measurements))}</td>`)}</tr>`,
  )
  return markup`<section><h2>Dialogue</h2><p>Somebody speaks ${printFigure(100 * dialogueShare, 0)} <span class="unit">%</span> of the time. Its loudness is the mean over all channels but the LFE while there is speech; its background is what is heard where nobody speaks, 5 s before and behind each line.</p>
<table><thead><tr><th scope="col">Figure</th>${files.map(({ name }) => markup`<th scope="col" class="number">${name}</th>`)}</tr></thead><tbody>${rows}</tbody></table>${quietestLines(after, source.startOfDaySeconds)}</section>`
}

function quietestLines({ dialogue, sampleRateHz }: Measurements, startOfDaySeconds: number | null): Markup | null {
  const lines = dialogue?.quietestLines ?? []
  if (lines.length === 0) return null
  const time = (frame: number) => printTime((startOfDaySeconds ?? 0) + frame / sampleRateHz, 1)
  return markup`<table><thead><tr><th scope="col">Quietest lines</th><th scope="col" class="number">Loudness</th><th scope="col" class="number">Over its background</th></tr></thead><tbody>${lines.map(
    ({ startFrame, endFrame, loudnessLkfs, overBackgroundLu }) =>
      markup`<tr><th scope="row">${time(startFrame)} to ${time(endFrame)}</th><td class="number">${figureWords(loudnessLkfs)} <span class="unit">LKFS</span></td><td class="number">${
        overBackgroundLu === null
          ? markup`<span class="quiet">silence</span>`
          : markup`${figureWords(overBackgroundLu)} <span class="unit">LU</span>`
      }</td></tr>`,
  )}</tbody></table>`
}

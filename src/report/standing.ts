import { type DeliveryReport, type Margin, thinnestMargins } from '../domain/index.ts'
import { scale } from './axes.ts'
import { mark } from './mark.ts'
import { type Markup, markup, px } from './markup.ts'
import { allowedWords, FILE_WORDS, figureWords, lineWords, marginWords } from './words.ts'

/** Figures that are shown even where the spec does not ask for them. */
const ALWAYS_SHOWN = ['maxShortTermLkfs', 'maxMomentaryLkfs', 'loudnessRangeLu'] as const

/** Every line of the spec: what is allowed, where each file stands and how much room is left. */
export function specTable(report: DeliveryReport): Markup {
  const { margins, deliverables, spec } = report
  const asked = [...new Set(margins.map((margin) => margin.line))]
  const unasked = ALWAYS_SHOWN.filter((field) => !asked.includes(field))
  return markup`<table>
<thead><tr><th scope="col">Line</th><th scope="col" class="number">Allowed</th>${deliverables.map(
    ({ role }) =>
      markup`<th scope="col" class="number">${FILE_WORDS[role]}</th><th scope="col" class="number">Margin</th>`,
  )}</tr></thead>
<tbody>${asked.map(
    (field) =>
      markup`<tr>${lineHead(field)}<td class="number">${allowedWords(spec, field)}</td>${deliverables.map(
        ({ role }) => {
          const margin = margins.find((each) => each.role === role && each.line === field)
          return margin === undefined
            ? markup`<td></td><td></td>`
            : markup`<td class="number">${figureWords(margin.measured)}</td><td class="number">${marginWords(margin.margin)}</td>`
        },
      )}</tr>`,
  )}${unasked.map(
    (field) =>
      markup`<tr>${lineHead(field)}<td class="number quiet">not asked</td>${deliverables.map(
        ({ measurements }) => markup`<td class="number">${figureWords(measurements[field])}</td><td></td>`,
      )}</tr>`,
  )}</tbody></table>`
}

function lineHead(field: string): Markup {
  const { name, unit } = lineWords(field)
  return markup`<th scope="row">${name} <span class="unit">${unit}</span></th>`
}

/** The three lines with the least room, each with a stroke from its limit to where it stands. */
export function thinnestTable(report: DeliveryReport): Markup {
  return markup`<table><thead><tr><th scope="col">Line</th><th scope="col" class="number">Margin</th></tr></thead><tbody>${thinnestMargins(
    report.margins,
  ).map((margin) => {
    const { name, unit } = lineWords(margin.line)
    return markup`<tr><th scope="row">${name}, ${FILE_WORDS[margin.role]}${roomStroke(margin)}</th><td class="number">${marginWords(margin.margin, unit === 'dBTP' ? 'dB' : 'LU')}</td></tr>`
  })}</tbody></table>`
}

/** dB that a stroke of full length stands for. */
const STROKE_DB = 6
const MARK_RADIUS = 5

/** From the limit (the mark) to the right as far as there is room, to the left where it is passed. */
export function roomStroke(margin: Pick<Margin, 'margin'> | null): Markup | null {
  const room = margin?.margin ?? null
  if (room === null) return null
  const x = scale(-STROKE_DB / 2, STROKE_DB, 10, 210)
  const zero = px(x(0))
  const radius = room < 0 ? -MARK_RADIUS : MARK_RADIUS
  return markup`<svg class="room" viewBox="0 0 220 16" width="220" height="16" aria-hidden="true"><path class="ruler" d="M10 8H210"/><path class="bar${room < 0 ? ' over' : ''}" d="M${zero + radius} 8H${px(x(room) + radius)}"/>${mark(zero, 8, MARK_RADIUS)}</svg>`
}

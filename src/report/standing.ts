import { type DeliveryReport, type Margin, thinnestMargins } from '../domain/index.ts'
import { scale } from './axes.ts'
import { mark } from './mark.ts'
import { type Markup, markup, px } from './markup.ts'
import { allowedWords, FILE_WORDS, figureWords, lineWords, marginWords } from './words.ts'

/** The figures of the table; what the spec does not ask for is shown too. */
const SHOWN = [
  'programmeLoudnessLkfs',
  'maxTruePeakDbtp',
  'maxShortTermLkfs',
  'maxMomentaryLkfs',
  'loudnessRangeLu',
] as const

/** Every line of the spec: what is allowed, where each file stands and how much room is left. */
export function specTable(report: DeliveryReport): Markup {
  const { margins, deliverables, spec, source } = report
  const files =
    deliverables.length > 0
      ? deliverables.map(({ role, measurements }) => ({ role, name: FILE_WORDS[role], measurements }))
      : [{ role: null, name: 'Source', measurements: source.measurements }]
  const others = margins.map((margin) => margin.line).filter((field) => !SHOWN.some((shown) => shown === field))
  const fields = [...SHOWN, ...new Set(others)]
  return markup`<table>
<thead><tr><th scope="col">Line</th><th scope="col" class="number">Allowed</th>${files.map(
    ({ name }) => markup`<th scope="col" class="number">${name}</th><th scope="col" class="number">Margin</th>`,
  )}</tr></thead>
<tbody>${fields.map((field) => {
    const isAsked = margins.length === 0 || margins.some((margin) => margin.line === field)
    const allowed = isAsked ? allowedWords(spec, field) : null
    return markup`<tr>${lineHead(field)}<td class="number">${allowed ?? markup`<span class="quiet">not asked</span>`}</td>${files.map(
      ({ role, measurements }) => {
        const margin = margins.find((each) => each.role === role && each.line === field)
        const measured =
          margin === undefined ? (measurements[field as (typeof SHOWN)[number]] ?? null) : margin.measured
        return markup`<td class="number">${figureWords(measured)}</td><td class="number">${margin === undefined ? null : marginWords(margin.margin)}</td>`
      },
    )}</tr>`
  })}</tbody></table>`
}

function lineHead(field: string): Markup {
  const { name, unit } = lineWords(field)
  return markup`<th scope="row">${name} <span class="unit">${unit}</span></th>`
}

/** The three lines with the least room, each with a stroke from its limit to where it stands. */
export function thinnestTable(report: DeliveryReport): Markup {
  if (report.margins.length === 0) return markup`<p>Nothing was rendered, so nothing is held against the spec.</p>`
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

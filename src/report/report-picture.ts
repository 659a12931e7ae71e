import type { DeliveryReport } from '../domain/index.ts'
import { CHART_WIDTH, chartView, loudnessDrawing, loudnessInWords } from './loudness-chart.ts'
import { Markup, markup } from './markup.ts'
import { paletteCss } from './palette.ts'
import { CHART_CSS } from './style.ts'

const EDGE = 20
const HEAD = 34

/** The loudness chart alone, as an SVG file that stands for itself on paper-coloured ground. */
export function reportPicture(report: DeliveryReport): string {
  const style = `svg{${paletteCss('light')}font-family:"IBM Plex Sans",sans-serif}${CHART_CSS}`
  const width = CHART_WIDTH + 2 * EDGE
  const view = chartView(report)
  const top = view.top - HEAD
  const height = view.height + HEAD + EDGE
  return markup`<svg xmlns="http://www.w3.org/2000/svg" viewBox="${-EDGE} ${top} ${width} ${height}" width="${width}" height="${height}" role="img" aria-label="${loudnessInWords(report)}"><title>${report.title.name}</title><style>${new Markup(style)}</style><rect x="${-EDGE}" y="${top}" width="${width}" height="${height}" style="fill:var(--paper)"/><text class="strong" x="0" y="${view.top - 10}" style="font-size:15px">${report.title.name}: ${report.conforms ? 'conforms' : 'does not conform'} to ${report.spec.title}</text>${loudnessDrawing(report)}</svg>
`.text
}

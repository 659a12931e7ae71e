import type { DeliveryReport } from '../domain/index.ts'
import { alterationInWords, captionedAlteration } from './alteration-chart.ts'
import { CHART_WIDTH, chartView, loudnessDrawing, loudnessInWords } from './loudness-chart.ts'
import { type LoudnessPicture, pictureOfDelivery } from './loudness-picture.ts'
import { Markup, markup } from './markup.ts'
import { paletteCss } from './palette.ts'
import { CHART_CSS } from './style.ts'
import {
  UPMIX_PICTURE_CSS,
  UPMIX_PICTURE_WIDTH,
  type UpmixPicture,
  upmixDrawing,
  upmixInWords,
  upmixView,
} from './upmix-picture.ts'

const EDGE = 20
const HEAD = 34
/** Keeps a long name inside the picture. */
const LONGEST_TITLE = 110

/** The loudness chart of a delivery alone, as an SVG file that stands for itself. */
export function reportPicture(report: DeliveryReport): string {
  const title = `${report.title.name}: ${report.conforms ? 'conforms' : 'does not conform'} to ${report.spec.title}`
  return loudnessPicture(pictureOfDelivery(report), title)
}

/** What a fit altered over time, dialogue first, as an SVG file with its caption inside. */
export function alterationPicture(report: DeliveryReport): string {
  const { width, height, drawing } = captionedAlteration(report)
  const title = `${report.title.name}: what was altered for ${report.spec.title}`
  return svgFile(title, alterationInWords(report), { top: 0, width, height }, CHART_CSS, drawing)
}

/** A loudness chart as an SVG file on paper-coloured ground, under a title of one line. */
export function loudnessPicture(picture: LoudnessPicture, title: string): string {
  const view = { ...chartView(picture), width: CHART_WIDTH }
  return svgFile(title, loudnessInWords(picture), view, CHART_CSS, loudnessDrawing(picture))
}

/** Where an upmix put the energy, as such a file. */
export function upmixPicture(picture: UpmixPicture, title: string): string {
  const view = { ...upmixView(picture), width: UPMIX_PICTURE_WIDTH }
  return svgFile(title, upmixInWords(picture), view, CHART_CSS + UPMIX_PICTURE_CSS, upmixDrawing(picture))
}

function svgFile(
  title: string,
  inWords: string,
  view: { readonly top: number; readonly width: number; readonly height: number },
  css: string,
  drawing: Markup,
): string {
  const style = `svg{${paletteCss('light')}font-family:"IBM Plex Sans",sans-serif}${css}`
  const width = view.width + 2 * EDGE
  const top = view.top - HEAD
  const height = view.height + HEAD + EDGE
  const shown = title.length > LONGEST_TITLE ? `${title.slice(0, LONGEST_TITLE - 1)}\u2026` : title
  return markup`<svg xmlns="http://www.w3.org/2000/svg" viewBox="${-EDGE} ${top} ${width} ${height}" width="${width}" height="${height}" role="img" aria-label="${inWords}"><title>${title}</title><style>${new Markup(style)}</style><rect x="${-EDGE}" y="${top}" width="${width}" height="${height}" style="fill:var(--paper)"/><text class="strong" x="0" y="${view.top - 10}" style="font-size:15px">${shown}</text>${drawing}</svg>
`.text
}

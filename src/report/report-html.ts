import { type DeliveryReport, type ProgrammeLanes, printTime } from '../domain/index.ts'
import { alteration } from './alteration.ts'
import { dialogue } from './dialogue.ts'
import { CHART_WIDTH, chartView, loudnessDrawing, loudnessInWords } from './loudness-chart.ts'
import { pictureOfDelivery } from './loudness-picture.ts'
import { MARK_ICON, markPicture } from './mark.ts'
import { Markup, markup } from './markup.ts'
import { readingData } from './reading-data.ts'
import { channelPeaks, chartInFigures, findings, foldDown, specSection } from './sections.ts'
import { specTable, thinnestTable } from './standing.ts'
import { CHART_CSS, PAGE_CSS } from './style.ts'
import { FILE_WORDS, groupDigits } from './words.ts'

/** One weight of the page's typeface; the page carries it inside, so that it needs nothing from outside. */
export type ReportFont = { readonly weight: 400 | 600; readonly woff2Base64: string }

/** The files of `@fontsource/ibm-plex-sans/files` that the page is set in. */
export const REPORT_FONT_FILES = [
  { weight: 400, file: 'ibm-plex-sans-latin-400-normal.woff2' },
  { weight: 600, file: 'ibm-plex-sans-latin-600-normal.woff2' },
] as const

export type ReportAssets = {
  readonly fonts: readonly ReportFont[]
  /** The compiled reading aid; null: the page does without. */
  readonly readingScript: string | null
}

/** Nothing may be fetched: what the page needs stands in it. */
const POLICY =
  "default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:; script-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"

/** The delivery report as one page that needs nothing else. The same report gives the same bytes. */
export function renderReportHtml(report: DeliveryReport, assets: ReportAssets): string {
  const page = markup`<!DOCTYPE html>
<html lang="en-GB">
<head>
<meta charset="utf-8"/>
<meta http-equiv="Content-Security-Policy" content="${new Markup(POLICY)}"/>
<meta name="viewport" content="width=device-width,initial-scale=1"/>
<meta name="generator" content="plimsoll ${report.tool.version}"/>
<link rel="icon" href="${new Markup(MARK_ICON)}"/>
<title>${pageTitle(report)}</title>
<style>${new Markup(fontFaces(assets.fonts) + PAGE_CSS + CHART_CSS)}</style>
</head>
<body>
${pageHeader(report)}
${pageMain(report)}
${readingAid(report, assets.readingScript)}
</body>
</html>
`
  return page.text
}

/** What the page is called. */
export function pageTitle({ title, spec }: DeliveryReport): string {
  return `${title.name}: delivery report, ${spec.title}`
}

export function pageHeader(report: DeliveryReport): Markup {
  return markup`<header>${markPicture(20)}<span><b>Plimsoll</b> delivery report</span><span>${report.title.id}</span></header>`
}

/** All that the report says, as the page and the paper say it. */
export function pageMain(report: DeliveryReport): Markup {
  return markup`<main>
<h1><bdi>${report.title.name}</bdi></h1>
<p class="verdict">${stateWord(report)}${report.verdict}</p>
<div class="pair"><section class="wide"><h2>How it stands</h2>${specTable(report)}</section><section><h2>Thinnest margins</h2>${thinnestTable(report)}</section></div>
${loudnessFigure(report)}
${signatures(report)}
${channelPeaks(report)}
${foldDown(report)}
${dialogue(report)}
${alteration(report)}
${findings(report)}
${specSection(report)}
${settings(report)}
<section><h2>Cautions</h2><ul>${report.cautions.map((caution) => markup`<li>${caution}</li>`)}</ul></section>
</main>`
}

function fontFaces(fonts: readonly ReportFont[]): string {
  return fonts
    .map(
      ({ weight, woff2Base64 }) =>
        `@font-face{font-family:"IBM Plex Sans";font-weight:${weight};src:url(data:font/woff2;base64,${woff2Base64}) format("woff2")}`,
    )
    .join('\n')
}

function stateWord({ conforms }: DeliveryReport): Markup {
  return conforms
    ? markup`<span class="state holds">Conforms</span>`
    : markup`<span class="state fails">Does not conform</span>`
}

function loudnessFigure(report: DeliveryReport): Markup {
  const swatch = (drawing: Markup) => markup`<svg viewBox="0 0 26 12" aria-hidden="true">${drawing}</svg>`
  const { delivered } = report.history
  const isSourceBeside = report.history.source !== null && report.deliverables.length > 0
  const picture = pictureOfDelivery(report)
  const view = chartView(picture)
  const hasLimit = report.spec.maxShortTermLkfs !== undefined || report.spec.maxMomentaryLkfs !== undefined
  const isMarked = report.findings.some((finding) => finding.at !== null)
  return markup`<section><div class="head"><h2>Loudness over time</h2><output class="reading" id="reading" aria-live="polite"></output></div><figure class="wide"><svg id="loudness" viewBox="0 ${view.top} ${CHART_WIDTH} ${view.height}" role="img" aria-label="${loudnessInWords(picture)}">${loudnessDrawing(picture)}</svg>
<figcaption class="key"><span>${swatch(markup`<path class="silhouette" d="M0 12V4L26 2V12Z"/><path class="edge" d="M0 4L26 2"/>`)}short-term, 3 s</span><span>${swatch(markup`<path class="momentary" d="M0 9L6 3L11 8L17 2L26 7"/>`)}momentary, 0.4 s, highest in ${columnWords(delivered.columnSeconds)}</span>${
    isSourceBeside
      ? markup`<span>${swatch(markup`<path class="source" d="M0 6H26"/>`)}the source, short-term</span>`
      : null
  }<span>${swatch(markup`<path class="band" d="M0 0H26V12H0Z"/><path class="target" d="M0 6H26"/>`)}target and tolerance of the total</span>${
    hasLimit ? markup`<span>${swatch(markup`<path class="limit" d="M0 6H26"/>`)}limit, at most</span>` : null
  }${
    isMarked
      ? markup`<span>${swatch(markup`<path class="outside above" d="M0 0H26V12H0Z"/>`)}outside a limit</span>`
      : null
  }${laneKey(picture.lanes)}</figcaption>${chartInFigures(report)}</figure></section>`
}

/** What the lanes under the chart show. */
function laneKey(lanes: ProgrammeLanes | null): Markup | null {
  if (lanes === null) return null
  const dialogue = lanes.dialogue === null ? '' : 'dialogue, then '
  return markup`<span>lanes: ${dialogue}the K-weighted level of each channel, 48 dB high</span>`
}

function columnWords(seconds: number): string {
  return `${Number(seconds.toFixed(1))} s`
}

/** Who made what from what: enough to check every file by its checksum. */
function signatures(report: DeliveryReport): Markup {
  const { source, deliverables, tool, passes } = report
  const { sampleRateHz, frameCount, durationSeconds } = source.measurements
  const renders =
    deliverables.length === 0 ? '' : `, verified on the bytes written, ${passes} ${passes === 1 ? 'render' : 'renders'}`
  const dated = source.originatedOn === null ? '' : `, originated ${source.originatedOn}`
  return markup`<section><h2>Provenance</h2><dl>
<dt>Source</dt><dd><bdi>${source.path}</bdi>, ${source.layout}, ${sampleRateHz / 1000} <span class="unit">kHz</span>, ${groupDigits(frameCount)} <span class="unit">frames</span> (${printTime(durationSeconds, 2)})${dated}<br/><code>${source.sha256}</code></dd>
${deliverables.map(
  (file) =>
    markup`<dt>${FILE_WORDS[file.role]}</dt><dd><bdi>${file.path}</bdi>, ${file.bitsPerSample} <span class="unit">bit</span>, ${groupDigits(file.bytes)} <span class="unit">bytes</span><br/><code>${file.sha256}</code></dd>`,
)}
<dt>Made with</dt><dd>Plimsoll ${tool.version}${renders}<br/><code>${tool.kernelsSha256}</code> <span class="unit">kernels</span></dd>
</dl></section>`
}

function settings(report: DeliveryReport): Markup | null {
  const rows = Object.entries(report.settings)
  if (rows.length === 0) return null
  return markup`<section><h2>Settings</h2><dl class="doubled">${rows.map(([name, value]) => markup`<dt>${name}</dt><dd>${value}</dd>`)}</dl></section>`
}

function readingAid(report: DeliveryReport, script: string | null): Markup | null {
  if (script === null) return null
  const data = JSON.stringify(readingData(report)).replaceAll('<', '\\u003c')
  const code = script.replaceAll('</', '<\\/')
  return markup`<script type="application/json" id="reading-data">${new Markup(data)}</script>
<script type="module">${new Markup(code)}</script>`
}

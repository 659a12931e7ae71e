export { type LoudnessPicture, type PicturedPlace, placesOfPassages } from './loudness-picture.ts'
export { REPORT_FONT_FILES, type ReportAssets, type ReportFont, renderReportHtml } from './report-html.ts'
export { loudnessPicture, reportPicture } from './report-picture.ts'

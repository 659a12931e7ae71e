export { type LoudnessPicture, type PicturedPlace, placesOfPassages } from './loudness-picture.ts'
export { paletteCss } from './palette.ts'
export type { PaperFonts } from './paper/letters.ts'
export { renderReportPdf } from './paper/report-pdf.ts'
export {
  asciiLine,
  type ClockedProgramme,
  inTime,
  type MarkedProgramme,
  passageName,
  passagesCsv,
  passagesEdl,
  passagesOtio,
  passagesVtt,
} from './passage-exports/index.ts'
export { REPORT_FONT_FILES, type ReportAssets, type ReportFont, renderReportHtml } from './report-html.ts'
export { alterationPicture, loudnessPicture, reportPicture, upmixPicture } from './report-picture.ts'

export { REPORT_FONT_FILES, type ReportAssets, type ReportFont, renderReportHtml } from './report-html.ts'
export { reportPicture } from './report-picture.ts'

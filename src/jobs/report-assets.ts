import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { REPORT_FONT_FILES, type ReportAssets } from '../report/index.ts'

const require = createRequire(import.meta.url)

/** What a report page carries inside itself: its fonts, and the script that reads the chart. */
export function reportAssets(): ReportAssets {
  return {
    fonts: REPORT_FONT_FILES.map(({ weight, file }) => ({
      weight,
      woff2Base64: readFileSync(require.resolve(`@fontsource/ibm-plex-sans/files/${file}`), 'base64'),
    })),
    readingScript: readFileSync(new URL('../../build/web/report-reading.js', import.meta.url), 'utf8'),
  }
}

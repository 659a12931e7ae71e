import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { REPORT_FONT_FILES, type ReportAssets } from '../report/index.ts'

const require = createRequire(import.meta.url)

/** A file of the report's typeface, for the report on paper. */
export function paperFonts(file: string): Uint8Array {
  return readFileSync(fontPath(file))
}

function fontPath(file: string): string {
  return require.resolve(`@fontsource/ibm-plex-sans/files/${file}`)
}

/** What a report page carries inside itself: its fonts, and the script that reads the chart. */
export function reportAssets(): ReportAssets {
  return {
    fonts: REPORT_FONT_FILES.map(({ weight, file }) => ({
      weight,
      woff2Base64: readFileSync(fontPath(file), 'base64'),
    })),
    readingScript: readFileSync(new URL('../../build/web/report-reading.js', import.meta.url), 'utf8'),
  }
}

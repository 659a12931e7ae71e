import type { DeliveryReport } from '../../domain/index.ts'
import { escapeText } from '../markup.ts'
import { pageHeader, pageMain, pageTitle } from '../report-html.ts'
import { stripsOf } from './blocks.ts'
import { tagUnder } from './brush.ts'
import { childElements, descendants, elementsOf } from './elements.ts'
import { tellingOfLackedLetters } from './lacking.ts'
import { type Doc, Letters, type PaperFonts } from './letters.ts'
import { setHeadsAndFeet, setOnPages, TEXT_COLUMN } from './pages.ts'

/**
 * The delivery report on A4, with the words of its page: it is set from what `renderReportHtml` puts between `<main>`
 * and `</main>`, drawings as vectors. Tagged. The same report gives the same bytes with any version of Node.
 */
export async function renderReportPdf(report: DeliveryReport, fonts: PaperFonts): Promise<Uint8Array> {
  // Loaded only here: who delivers nothing needs no library that sets pages.
  const { default: PDFDocument } = await import('pdfkit')
  const title = pageTitle(report)
  const maker = `Plimsoll ${report.tool.version}`
  const doc = new PDFDocument({
    // Compressed streams would follow the version of zlib.
    compress: false,
    pdfVersion: '1.7',
    lang: 'en-GB',
    tagged: true,
    displayTitle: true,
    // No font of the library's own, and a date that is only there while the document's identity is taken from it.
    font: '',
    info: { Title: title, Creator: maker, Producer: maker, CreationDate: new Date(0) },
    size: 'A4',
    margin: 0,
    autoFirstPage: false,
    bufferPages: true,
  })
  delete doc.info.CreationDate
  describe(doc, title, maker)
  const bytes = collected(doc)
  const brush = { doc, letters: new Letters(doc, fonts) }
  const main = descendants(elementsOf(pageMain(report)), 'main')
  const root = tagUnder(null, 'Document', brush)
  const blocks = tellingOfLackedLetters(main.flatMap(childElements), brush)
  setOnPages(stripsOf(blocks, TEXT_COLUMN, root, brush), brush)
  const header = descendants(elementsOf(pageHeader(report)), 'header')[0]
  if (header !== undefined) setHeadsAndFeet(header, title, brush)
  doc.end()
  return bytes
}

/** The library writes titles into the document's description as they are, and insists on a date; this does neither. */
function describe(doc: Doc, title: string, maker: string): void {
  const described = doc as unknown as { appendXML(xml: string): void; _addInfo(): void }
  described._addInfo = () => {
    described.appendXML(`<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:pdf="http://ns.adobe.com/pdf/1.3/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">${escapeText(title)}</rdf:li></rdf:Alt></dc:title>
<dc:language><rdf:Bag><rdf:li>en-GB</rdf:li></rdf:Bag></dc:language>
<xmp:CreatorTool>${escapeText(maker)}</xmp:CreatorTool>
<pdf:Producer>${escapeText(maker)}</pdf:Producer>
</rdf:Description>`)
  }
}

function collected(doc: Doc): Promise<Uint8Array> {
  return new Promise((resolve, reject) => {
    const parts: Uint8Array[] = []
    doc.on('data', (part: Uint8Array) => parts.push(part))
    doc.on('end', () => resolve(Buffer.concat(parts)))
    doc.on('error', reject)
  })
}

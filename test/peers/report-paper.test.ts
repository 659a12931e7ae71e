// The report on paper as other programs read it: Poppler's pdftotext, pdfinfo, pdffonts, pdfimages and pdftoppm, and
// Python's XML reader. Its words are held against those of the page.
import { spawnSync } from 'node:child_process'
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import type { DeliveryReport, Finding } from '../../src/domain/index.ts'
import { renderReportHtml, renderReportPdf } from '../../src/report/index.ts'
import { fileFolder } from '../testkit/cli.ts'
import { saltmarshReport } from '../testkit/delivery.ts'

const folder = fileFolder()

function fonts(file: string): Uint8Array {
  return readFileSync(new URL(`../../node_modules/@fontsource/ibm-plex-sans/files/${file}`, import.meta.url))
}

/** What a program prints of a file; it must have nothing to complain of. */
function read(program: string, ...words: readonly string[]): string {
  const { stdout, stderr, status } = spawnSync(program, words, { encoding: 'utf8', maxBuffer: 1 << 26 })
  expect([status, stderr]).toEqual([0, ''])
  return stdout
}

async function onPaper(name: string, report: DeliveryReport): Promise<string> {
  const path = join(folder, `${name}.pdf`)
  writeFileSync(path, await renderReportPdf(report, fonts))
  return path
}

/** The pages of a document as their parts were set, without heads and feet. */
function pagesOf(path: string): readonly string[] {
  const pages = read('pdftotext', '-raw', path, '-').split('\f').slice(0, -1)
  return pages.map((page, index) => {
    const [, text] = /^([\s\S]*\n)[^\n]*Page (\d+) of (\d+)\s*$/.exec(page) ?? []
    expect(page.trim().endsWith(`Page ${index + 1} of ${pages.length}`)).toBe(true)
    return (text as string).replace(/Plimsoll delivery report\s+saltmarsh-lane-103\s/, '')
  })
}

/** The words that the page shows in print: neither what reads the chart at the pointer nor what is folded away. */
function wordsOfPage(report: DeliveryReport): string {
  const page = renderReportHtml(report, { fonts: [], readingScript: null })
  const entities: Record<string, string> = { amp: '&', lt: '<', gt: '>', quot: '"', '#39': "'" }
  return page
    .replace(/^[\s\S]*<main>|<\/main>[\s\S]*$/g, '')
    .replace(/<details>[\s\S]*?<\/details>/g, '')
    .replace(/<[^>]*>/g, ' ')
    .replace(/&(amp|lt|gt|quot|#39);/g, (_, name) => entities[name] as string)
}

const squeezed = (text: string) => text.normalize('NFC').replace(/\s+/g, '')

/** Where two texts part, with what stands there; null where they are the same. */
function firstDifference(one: string, other: string): readonly string[] | null {
  if (one === other) return null
  const at = Array.from(one).findIndex((letter, index) => letter !== other[index])
  return [one, other].map((text) => text.slice(Math.max(0, at - 40), at + 40))
}

const good = saltmarshReport()
const loud = saltmarshReport({ specId: 'ebu-r128-s1', truePeakDbtp: -0.4, loudnessLkfs: -22.9, withRide: false })

describe.each([
  ['a conforming delivery', 'good', good],
  ['a delivery that fails', 'loud', loud],
])('the paper of %s', (_, name, report) => {
  let path: string

  beforeAll(async () => {
    path = await onPaper(name, report)
  })

  test('has the words of the page, all of them, in their order', () => {
    const [first, ...more] = pagesOf(path) as [string, ...string[]]
    const onceOnly = [first, ...more.map((page) => page.replace(/^Kind Place What was found From\s/, ''))]
    expect(firstDifference(squeezed(onceOnly.join('')), squeezed(wordsOfPage(report)))).toBeNull()
    const sentences = pagesOf(path).join(' ').replace(/\s+/g, ' ')
    expect(sentences).toContain(report.verdict)
    for (const caution of report.cautions) expect(sentences).toContain(caution)
  })

  test('is the same to the byte every time', async () => {
    expect(Buffer.compare(readFileSync(path), await renderReportPdf(report, fonts))).toBe(0)
  })

  test('is tagged, has a title, a language and numbered pages, and no date (ISO 32000-1, 14.7 and 14.8)', () => {
    const info = read('pdfinfo', path)
    expect(info).toMatch(/^Tagged: +yes$/m)
    expect(info).toContain(`${report.title.name}: delivery report, ${report.spec.title}`)
    expect(info).not.toMatch(/Date:/)
    expect(info).toMatch(/^Page size: +595[.]28 x 841[.]89 pts \(A4\)$/m)
    expect(readFileSync(path, 'latin1')).toContain('/Lang (en-GB)')
    const structure = read('pdfinfo', '-struct', path)
    for (const kind of ['Document', 'H1', 'H2', 'P', 'Table', 'TR', 'TH', 'TD', 'L', 'LI', 'Figure', 'Caption']) {
      expect(structure, kind).toMatch(new RegExp(`^ *${kind}\\b`, 'm'))
    }
    const alternative = Buffer.from('Loudness over time of the delivered mix against', 'utf16le').swap16()
    expect(readFileSync(path).includes(Buffer.concat([Buffer.from('/Alt (\xfe\xff', 'latin1'), alternative]))).toBe(
      true,
    )
  })

  test('carries its typeface, and drawings as vectors', () => {
    const listed = read('pdffonts', path).trim().split('\n').slice(2)
    expect(listed).toHaveLength(2)
    for (const font of listed) expect(font).toMatch(/IBMPlexSans.*TrueType.* yes yes yes /)
    expect(read('pdfimages', '-list', path).trim().split('\n')).toHaveLength(2)
    read('pdftoppm', '-r', '30', '-png', path, join(folder, name))
  })
})

describe('many findings', () => {
  const findings = Array.from({ length: 120 }, (_, at): Finding => {
    const [first] = good.findings
    const message = `begins${at}x ${'the mix stands above what is allowed here '.repeat(1 + (at % 9))}ends${at}x`
    return { ...(first as Finding), message }
  })

  test('no row is cut by the end of a page, and every page of the table has its head', async () => {
    const pages = pagesOf(await onPaper('many', { ...good, findings }))
    const pageOf = (word: string) => pages.findIndex((page) => new RegExp(`\\b${word}\\b`).test(page))
    const places = findings.map((_, at) => [pageOf(`begins${at}x`), pageOf(`ends${at}x`)] as const)
    for (const [begins, ends] of places) expect(begins).toBe(ends)
    const used = new Set(places.map(([page]) => page))
    expect(used.has(-1)).toBe(false)
    expect(used.size).toBeGreaterThan(3)
    for (const page of used) expect(pages[page]).toContain('What was found')
  })

  test('a text longer than a page runs on, and loses nothing', async () => {
    const message = Array.from({ length: 3000 }, (_, word) => `word${word}`).join(' ')
    const pages = pagesOf(await onPaper('long', { ...good, findings: [{ ...(findings[0] as Finding), message }] }))
    const told = pages.join(' ').match(/\bword\d+\b/g)
    expect(told).toEqual(message.split(' '))
  })
})

test('letters of other scripts are written, and those that the typeface lacks can still be read out', async () => {
  const titleName = 'Příliš žluťoučký, Ωμέγα, Привет, Đường, 第三話'
  const path = await onPaper('letters', saltmarshReport({ titleName }))
  expect(squeezed(pagesOf(path).join(''))).toContain(squeezed(titleName))
  expect(read('pdfinfo', path)).toContain(titleName)
})

test.each([
  ['Příliš žluťoučký, Ωμέγα, Привет, Đường', null],
  ['שלום', 'Hebrew'],
  ['第三話', 'Chinese or Japanese'],
  ['サルト沼 ไทย ☂', 'Japanese, Thai and other signs'],
  ['☂', 'some signs of this report'],
])('the paper says itself which letters it cannot show: %s', async (titleName, scripts) => {
  const [first] = pagesOf(await onPaper('lacking', saltmarshReport({ titleName }))) as [string]
  const said = /This paper has no letters for (.*?): /.exec(first.replace(/\s+/g, ' '))?.[1] ?? null
  expect(said).toBe(scripts)
})

test('what the user wrote stays text in the description of the document', async () => {
  const titleName = '<rdf:Seq> & "quoted" ) endobj'
  const path = await onPaper('text', saltmarshReport({ titleName }))
  const description = read('pdfinfo', '-meta', path)
  const script =
    'import sys, xml.etree.ElementTree as e; print("".join(e.fromstring(sys.stdin.read().strip()).itertext()))'
  const { stdout, status } = spawnSync('python3', ['-c', script], { input: description, encoding: 'utf8' })
  expect(status).toBe(0)
  expect(stdout).toContain(titleName)
  expect(pagesOf(path).join(' ')).toContain(titleName)
})

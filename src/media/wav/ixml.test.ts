import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { run } from '../../../test/testkit/wav.ts'
import { parseIxml } from './ixml.ts'

const parse = (xml: string | Buffer) => parseIxml(typeof xml === 'string' ? Buffer.from(xml) : xml)

/** Element names and nesting of the iXML specification, from memory. */
function speed(inside: string): string {
  return `<?xml version="1.0" encoding="UTF-8"?>
<BWFXML>
  <IXML_VERSION>2.10</IXML_VERSION>
  <PROJECT>Saltmarsh Lane &amp; after</PROJECT>
  <SPEED>${inside}</SPEED>
  <TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><NAME>L &lt;left&gt;</NAME></TRACK></TRACK_LIST>
</BWFXML>`
}

const WHOLE = speed(`
    <TIMECODE_RATE>30000/1001</TIMECODE_RATE><TIMECODE_FLAG>DF</TIMECODE_FLAG>
    <FILE_SAMPLE_RATE>48000</FILE_SAMPLE_RATE>
    <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>1</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>
    <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>172800000</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>
    <TIMESTAMP_SAMPLE_RATE>48048</TIMESTAMP_SAMPLE_RATE>`)

test('reads rate, count and time stamp', () => {
  expect(parse(WHOLE)).toEqual({
    ixml: {
      timecode: { rate: '29.97', dropFrame: true },
      sampleRateHz: 48000,
      timestampSamples: 2 ** 32 + 172800000,
      timestampRateHz: 48048,
    },
    findings: [],
  })
})

const EMPTY = { timecode: null, sampleRateHz: null, timestampSamples: null, timestampRateHz: null }

test.each([
  ['no SPEED at all', '<BWFXML><PROJECT>x</PROJECT></BWFXML>'],
  ['empty elements', speed('<TIMECODE_RATE/><TIMECODE_FLAG></TIMECODE_FLAG><FILE_SAMPLE_RATE/>')],
  ['numbers that are none', speed('<FILE_SAMPLE_RATE>fast</FILE_SAMPLE_RATE>')],
  [
    'a low word of more than 32 bits',
    speed('<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>4294967296</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>'),
  ],
])('%s is no fault', (_, xml) => {
  expect(parse(xml)).toEqual({ ixml: EMPTY, findings: [] })
})

describe('XML from the wild', () => {
  const rate = (xml: string | Buffer) => parse(xml).ixml.timecode?.rate

  test.each([
    ['namespaces', '<i:BWFXML xmlns:i="urn:x"><i:SPEED><i:TIMECODE_RATE>25/1</i:TIMECODE_RATE></i:SPEED></i:BWFXML>'],
    ['CDATA', speed('<TIMECODE_RATE><![CDATA[25/1]]></TIMECODE_RATE>')],
    ['entities', speed('<TIMECODE_RATE>&#50;&#x35;/1</TIMECODE_RATE>')],
    ['comments', speed('<!-- <TIMECODE_RATE>24</TIMECODE_RATE> --><TIMECODE_RATE> 25<!-- x -->/1 </TIMECODE_RATE>')],
    ['attributes', speed('<TIMECODE_RATE unit="a/b" >25/1</TIMECODE_RATE >')],
    ['a byte order mark', `\ufeff${speed('<TIMECODE_RATE>25/1</TIMECODE_RATE>')}`],
    ['NULs behind the end', `${speed('<TIMECODE_RATE>25/1</TIMECODE_RATE>')}\0\0\0`],
  ])('%s', (_, xml) => {
    expect(rate(xml)).toBe('25')
    expect(parse(xml).findings).toEqual([])
  })

  test('UTF-16', () => {
    const xml = speed('<TIMECODE_RATE>25/1</TIMECODE_RATE>')
    expect(rate(Buffer.concat([Buffer.from([0xff, 0xfe]), Buffer.from(xml, 'utf16le')]))).toBe('25')
  })

  test.each([
    ['cut short', WHOLE.slice(0, WHOLE.indexOf('<TIMESTAMP_SAMPLE_RATE>') + 30)],
    ['closed in the wrong order', WHOLE.replace('</SPEED>', '</BWFXML>')],
    ['never closed', WHOLE.replace('</BWFXML>', '')],
  ])('%s: a note, and what stands before the fault', (_, xml) => {
    const { ixml, findings } = parse(xml)
    expect(ixml).toMatchObject({ timecode: { rate: '29.97', dropFrame: true }, sampleRateHz: 48000 })
    expect(findings).toMatchObject([{ id: 'ixml', severity: 'note' }])
  })

  test.each([
    ['nothing', ''],
    ['no XML', 'TIMECODE_RATE=25'],
    ['binary', Buffer.from([1, 2, 3, 0x3c, 0xff, 0xfe, 0x3c, 0x2f])],
  ])('%s: a note', (_, xml) => {
    expect(parse(xml)).toMatchObject({ ixml: EMPTY, findings: [{ id: 'ixml', severity: 'note' }] })
  })

  test('a rate that the trade does not know is told and not used', () => {
    const { ixml, findings } = parse(speed('<TIMECODE_RATE>12/1</TIMECODE_RATE>'))
    expect(ixml.timecode).toBeNull()
    expect(findings[0]?.message).toContain('"12/1"')
  })

  // SMPTE ST 12-1 defines drop-frame for 30000/1001 only (ST 12-3 for 60000/1001).
  test('drop-frame where there is none is told and not obeyed', () => {
    const xml = speed('<TIMECODE_RATE>25/1</TIMECODE_RATE><TIMECODE_FLAG>DF</TIMECODE_FLAG>')
    const { ixml, findings } = parse(xml)
    expect(ixml.timecode).toEqual({ rate: '25', dropFrame: false })
    expect(findings[0]?.message).toContain('drop-frame at 25')
  })

  test('nothing is slow: a megabyte of openings, comments or nesting', () => {
    for (const piece of ['<', '<!--', '<a>', '<![CDATA[', '&#', '</', '<a><!-- -->']) {
      const started = performance.now()
      parse(piece.repeat(2 ** 20 / piece.length))
      expect(performance.now() - started, piece).toBeLessThan(2000)
    }
  })

  test('no bytes make it fail', () => {
    fc.assert(fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => void parse(Buffer.from(bytes))))
    const markup = fc.constantFrom('<', '>', '/', '</', '<TIMECODE_RATE>', '25', '&amp;', '<!--', '-->', '<a:b c="d">')
    fc.assert(fc.property(fc.array(markup, { maxLength: 40 }), (pieces) => void parse(pieces.join(''))))
  })
})

// The oracle is the expat parser of Python's xml.etree.
test('reads what a whole XML parser reads', () => {
  const rates = ['24000/1001', '24/1', '25/1', '30/1', '50/1', '60000/1001']
  const documents = rates.map((rate, index) => {
    const stamp = `<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>${index * 1234567}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>`
    return speed(
      `<!-- &bad; --><NOTE>&quot;&#233;<![CDATA[</NOTE>]]></NOTE><TIMECODE_RATE>${rate}</TIMECODE_RATE>${stamp}`,
    )
  })
  const script = `
import json, sys
from xml.etree import ElementTree
print(json.dumps([[ElementTree.fromstring(d.encode()).findtext('SPEED/' + n) for n in
  ('TIMECODE_RATE', 'TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO')] for d in json.loads(sys.argv[1])]))`
  const outside = JSON.parse(run('/usr/bin/python3', '-c', script, JSON.stringify(documents)).toString())
  const ours = documents.map((document) => parse(document))
  expect(ours.flatMap(({ findings }) => findings)).toEqual([])
  expect(ours.map(({ ixml }) => ixml.timestampSamples)).toEqual(outside.map(([, samples]: string[]) => Number(samples)))
  const decimal = (text: string) => (text.includes('1001') ? (Number.parseInt(text, 10) / 1001).toFixed(3) : null)
  for (const [index, [rate]] of outside.entries()) {
    const name = ours[index]?.ixml.timecode?.rate as string
    expect(name).toBe((decimal(rate) ?? rate.replace('/1', '')).replace('59.940', '59.94'))
  }
})

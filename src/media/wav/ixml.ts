import {
  type Finding,
  frameRateNamed,
  isTimecodeProblem,
  type TimecodeFormat,
  timecodeFormat,
} from '../../domain/index.ts'

/** What an `iXML` chunk says about time. @source iXML specification 2.x, SPEED and BWFXML (field names from memory) */
export type Ixml = {
  /** Null where it names no rate that is known. */
  readonly timecode: TimecodeFormat | null
  /** The rate that the audio was recorded at, by the chunk. */
  readonly sampleRateHz: number | null
  /** Samples since midnight of the first frame. */
  readonly timestampSamples: number | null
  /** The rate that the time stamp counts at. */
  readonly timestampRateHz: number | null
}

const FIELDS = [
  'TIMECODE_RATE',
  'TIMECODE_FLAG',
  'FILE_SAMPLE_RATE',
  'TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI',
  'TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO',
  'TIMESTAMP_SAMPLE_RATE',
] as const
type Field = (typeof FIELDS)[number]
const WORD = 2 ** 32

/** Reads an `iXML` body. Whatever is missing or cannot be understood is null; a fault in the XML is a note. */
export function parseIxml(body: Buffer): { readonly ixml: Ixml; readonly findings: readonly Finding[] } {
  const { texts, isWellFormed } = readFields(textOf(body))
  const { timecode, findings } = readTimecode(texts.get('TIMECODE_RATE'), texts.get('TIMECODE_FLAG'))
  const high = wholeNumber(texts.get('TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI') ?? '0')
  const low = wholeNumber(texts.get('TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO'))
  const timestamp = high === null || low === null || low >= WORD ? null : high * WORD + low
  const malformed = note('ixml', 'The iXML chunk is not well-formed XML; what stands before the fault was read.')
  return {
    ixml: {
      timecode,
      sampleRateHz: wholeNumber(texts.get('FILE_SAMPLE_RATE')) || null,
      timestampSamples: Number.isSafeInteger(timestamp) ? timestamp : null,
      timestampRateHz: wholeNumber(texts.get('TIMESTAMP_SAMPLE_RATE')) || null,
    },
    findings: [...(isWellFormed ? [] : [malformed]), ...findings],
  }
}

/** UTF-8 unless a byte order mark says otherwise; some writers fill the chunk up with NULs. */
function textOf(body: Buffer): string {
  const isUtf16 = body[0] === 0xff && body[1] === 0xfe
  return new TextDecoder(isUtf16 ? 'utf-16le' : 'utf-8').decode(body).replace(/\0+$/, '')
}

function readTimecode(rateText: string | undefined, flag: string | undefined) {
  if (rateText === undefined) return { timecode: null, findings: [] }
  if (frameRateNamed(rateText) === null) {
    const found = `The iXML chunk names a timecode rate of "${shortened(rateText)}"`
    return {
      timecode: null,
      findings: [note('timecode-rate', `${found}, which is none of the trade; it is not used.`)],
    }
  }
  const asked = timecodeFormat(rateText, flag?.toUpperCase() === 'DF')
  if (!isTimecodeProblem(asked)) return { timecode: asked, findings: [] }
  const message = `The iXML chunk says ${asked.found}, but there is ${asked.wanted}; it is taken for non-drop-frame.`
  const plain = timecodeFormat(rateText, false) as TimecodeFormat
  return { timecode: plain, findings: [note('timecode-rate', message)] }
}

function shortened(text: string): string {
  return text.length > 20 ? `${text.slice(0, 20)}...` : text
}

function wholeNumber(text: string | undefined): number | null {
  return text !== undefined && /^\d{1,15}$/.test(text) ? Number(text) : null
}

function note(id: string, message: string): Finding {
  const source = 'iXML'
  return { id, severity: 'note', line: null, measured: null, allowed: null, unit: null, at: null, source, message }
}

/**
 * The text of the first element of each name that matters, wherever it stands. One pass from left to right, so that no
 * text makes it slow; prefixes of namespaces, comments, CDATA and the entities of XML itself are understood.
 */
function readFields(xml: string): { readonly texts: ReadonlyMap<Field, string>; readonly isWellFormed: boolean } {
  const texts = new Map<Field, string>()
  const open: string[] = []
  let text = ''
  let at = 0
  for (;;) {
    const mark = xml.indexOf('<', at)
    text += decoded(xml.slice(at, mark < 0 ? xml.length : mark))
    if (mark < 0) return { texts, isWellFormed: open.length === 0 && at > 0 }
    const [opener, closer] = MARKUP.find(([beginning]) => xml.startsWith(beginning, mark)) as readonly [string, string]
    const end = xml.indexOf(closer, mark + opener.length)
    if (end < 0) return { texts, isWellFormed: false }
    const inside = xml.slice(mark + opener.length, end)
    at = end + closer.length
    if (opener === '<![CDATA[') text += inside
    if (opener === '</') {
      const name = localName(inside)
      if (open.pop() !== name) return { texts, isWellFormed: false }
      const field = FIELDS.find((known) => known === name.toUpperCase())
      if (field !== undefined && !texts.has(field)) texts.set(field, text.trim())
    }
    if (opener === '<' && !inside.endsWith('/')) open.push(localName(inside))
    if (opener === '</' || opener === '<') text = ''
  }
}

/** What begins with `<`, and how it ends; the first that fits is meant. */
const MARKUP = [
  ['<!--', '-->'],
  ['<![CDATA[', ']]>'],
  ['<?', '?>'],
  ['<!', '>'],
  ['</', '>'],
  ['<', '>'],
] as const

/** The name of an element without its prefix and attributes. */
function localName(tag: string): string {
  const name = /^\S*/.exec(tag)?.[0] ?? ''
  return name.slice(name.indexOf(':') + 1)
}

const ENTITIES: Readonly<Record<string, string>> = { amp: '&', lt: '<', gt: '>', quot: '"', apos: "'" }

function decoded(text: string): string {
  return text.replace(/&(?:#(\d{1,7})|#x([\da-f]{1,6})|(\w{1,8}));/gi, (whole, decimal, hex, name) => {
    if (name !== undefined) return ENTITIES[name] ?? whole
    const code = decimal === undefined ? Number.parseInt(hex, 16) : Number(decimal)
    return code <= 0x10ffff ? String.fromCodePoint(code) : whole
  })
}

import type { Finding } from '../../domain/index.ts'

/** Loudness as `bext` carries it, to 0.01; null = not measured. */
export type BextLoudness = {
  readonly programmeLoudnessLkfs: number | null
  readonly loudnessRangeLu: number | null
  readonly maxTruePeakDbtp: number | null
  readonly maxMomentaryLkfs: number | null
  readonly maxShortTermLkfs: number | null
}

/** The broadcast extension of a WAV file. Texts are ASCII. @source EBU Tech 3285 v2, clause 2.3 */
export type Bext = {
  /** Up to 256 characters. */
  readonly description: string
  /** Up to 32 characters. */
  readonly originator: string
  /** Up to 32 characters. */
  readonly originatorReference: string
  /** `yyyy-mm-dd`, or empty. */
  readonly originationDate: string
  /** `hh:mm:ss`, or empty. */
  readonly originationTime: string
  /** Samples since midnight of the first frame. */
  readonly timeReferenceSamples: number
  /** 128 hex digits (SMPTE ST 330), or null. */
  readonly umid: string | null
  /** Null where the version of the chunk has no loudness fields. */
  readonly loudness: BextLoudness | null
  /** Lines that end in CR LF, e.g. `A=PCM,F=48000,W=24,M=stereo`. */
  readonly codingHistory: string
}

/** Byte offsets and lengths in the body of the chunk. */
const DESCRIPTION = [0, 256] as const
const ORIGINATOR = [256, 32] as const
const ORIGINATOR_REFERENCE = [288, 32] as const
const ORIGINATION_DATE = [320, 10] as const
const ORIGINATION_TIME = [330, 8] as const
const TIME_REFERENCE_OFFSET = 338
const VERSION_OFFSET = 346
const UMID = [348, 64] as const
const LOUDNESS_OFFSET = 412
/** The part before the coding history. */
const BEXT_FIXED_BYTES = 602
/** Versions 0 and 1 have reserved bytes where later versions have fields; none is shorter than this. */
const SMALLEST_BYTES = VERSION_OFFSET + 2

const VERSION_WITH_UMID = 1
const VERSION_WITH_LOUDNESS = 2
/** A field with this value, or any outside -99.99...99.99, is not set. From memory of Tech 3285 v2, clause 2.4. */
const NOT_SET = 0x7fff
const LARGEST_HUNDREDTHS = 9999

const LOUDNESS_FIELDS = [
  'programmeLoudnessLkfs',
  'loudnessRangeLu',
  'maxTruePeakDbtp',
  'maxMomentaryLkfs',
  'maxShortTermLkfs',
] as const satisfies readonly (keyof BextLoudness)[]

/** Reads a `bext` body of version 0, 1 or 2; null where it is too short to be one. */
export function parseBext(body: Buffer): { readonly bext: Bext | null; readonly findings: readonly Finding[] } {
  if (body.length < SMALLEST_BYTES) {
    return {
      bext: null,
      findings: [note('short-bext', `The bext chunk has only ${body.length} bytes and is not read.`)],
    }
  }
  const text = ([offset, length]: readonly [number, number]) => textOf(body.subarray(offset, offset + length))
  const version = body.readUInt16LE(VERSION_OFFSET)
  const timeReference = Number(body.readBigUInt64LE(TIME_REFERENCE_OFFSET))
  const isTimeKnown = Number.isSafeInteger(timeReference)
  const hasLoudness = version >= VERSION_WITH_LOUDNESS && body.length >= BEXT_FIXED_BYTES
  const umid = body.subarray(UMID[0], UMID[0] + UMID[1])
  const hasUmid = version >= VERSION_WITH_UMID && umid.length === UMID[1] && umid.some((byte) => byte !== 0)
  return {
    bext: {
      description: text(DESCRIPTION),
      originator: text(ORIGINATOR),
      originatorReference: text(ORIGINATOR_REFERENCE),
      originationDate: text(ORIGINATION_DATE),
      originationTime: text(ORIGINATION_TIME),
      timeReferenceSamples: isTimeKnown ? timeReference : 0,
      umid: hasUmid ? umid.toString('hex') : null,
      loudness: hasLoudness ? parseLoudness(body) : null,
      codingHistory: textOf(body.subarray(BEXT_FIXED_BYTES)),
    },
    findings: isTimeKnown ? [] : [note('time-reference', 'The time reference in bext is no time of day; 0 is used.')],
  }
}

function note(id: string, message: string): Finding {
  const source = 'EBU Tech 3285 v2'
  return { id, severity: 'note', line: null, measured: null, allowed: null, unit: null, at: null, source, message }
}

/** Text ends at its first NUL or at the end of its field. */
function textOf(field: Buffer): string {
  const end = field.indexOf(0)
  return field.toString('latin1', 0, end < 0 ? field.length : end).replace(/ +$/, '')
}

function parseLoudness(body: Buffer): BextLoudness {
  const figures = LOUDNESS_FIELDS.map((field, index) => {
    const hundredths = body.readInt16LE(LOUDNESS_OFFSET + 2 * index)
    return [field, Math.abs(hundredths) > LARGEST_HUNDREDTHS ? null : hundredths / 100] as const
  })
  return Object.fromEntries(figures) as BextLoudness
}

/** Writes a `bext` body of version 2. Its length depends on the coding history alone. */
export function encodeBext(bext: Bext): Buffer {
  const body = Buffer.alloc(bextByteCount(bext))
  const put = (text: string, [offset, length]: readonly [number, number]) =>
    body.write(ascii(text).slice(0, length), offset, 'latin1')
  put(bext.description, DESCRIPTION)
  put(bext.originator, ORIGINATOR)
  put(bext.originatorReference, ORIGINATOR_REFERENCE)
  put(bext.originationDate, ORIGINATION_DATE)
  put(bext.originationTime, ORIGINATION_TIME)
  body.writeBigUInt64LE(BigInt(bext.timeReferenceSamples), TIME_REFERENCE_OFFSET)
  body.writeUInt16LE(VERSION_WITH_LOUDNESS, VERSION_OFFSET)
  if (bext.umid !== null) body.write(bext.umid, UMID[0], UMID[1], 'hex')
  LOUDNESS_FIELDS.forEach((field, index) => {
    body.writeInt16LE(hundredthsOf(bext.loudness?.[field] ?? null), LOUDNESS_OFFSET + 2 * index)
  })
  body.write(ascii(bext.codingHistory), BEXT_FIXED_BYTES, 'latin1')
  return body
}

/** Always even, by a NUL behind the coding history: libsndfile 1.2 loses its way behind an odd bext in RF64. */
function bextByteCount(bext: Bext): number {
  const byteCount = BEXT_FIXED_BYTES + ascii(bext.codingHistory).length
  return byteCount + (byteCount % 2)
}

/** The chunk carries ASCII only; what it cannot carry becomes a question mark. */
function ascii(text: string): string {
  return text.normalize('NFC').replace(/[^\t\r\n -~]/gu, '?')
}

/** Rounds halves away from zero, as Tech 3285 v2 rounds -22.645 to -22.65 (example from memory). */
function hundredthsOf(value: number | null): number {
  if (value === null) return NOT_SET
  const hundredths = Math.sign(value) * Math.round(Math.abs(value) * 100)
  return Math.abs(hundredths) <= LARGEST_HUNDREDTHS ? hundredths : NOT_SET
}

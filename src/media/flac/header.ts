import { type PcmFormat, SAMPLE_RATES_HZ, type SampleEncoding } from '../../domain/index.ts'
import { type OpenFile, readRange } from '../file.ts'
import { unreadable } from '../refusals.ts'

/** What the metadata of a FLAC file says. @source RFC 9639, clauses 8.1, 8.2 and 8.6 */
export type FlacHeader = {
  readonly format: PcmFormat
  readonly bitsPerSample: number
  readonly frameCount: number
  /** MD5 of all samples as little-endian integers, 32 hex digits; null where the encoder left it out. */
  readonly md5: string | null
  readonly channelMask: number | null
  /** Where the first frame begins, behind all metadata. */
  readonly audioByteOffset: number
}

const MARKER_BYTES = 4
const BLOCK_HEADER_BYTES = 4
const STREAM_INFO = 0
const STREAM_INFO_BYTES = 34
const VORBIS_COMMENT = 4
/** Comments are short; pictures have blocks of their own. */
const MAX_COMMENT_BYTES = 1 << 20
const MD5_OFFSET = 18
/** Other word lengths hardly exist, and most of them the decoder cannot take without their metadata. */
const ENCODINGS: ReadonlyMap<number, SampleEncoding> = new Map([
  [16, 'int16'],
  [24, 'int24'],
])

/** Masks of the channel counts that RFC 9639 clause 9.1.3 gives an order to. */
const IMPLIED_MASKS: ReadonlyMap<number, number> = new Map([
  [1, 0x4],
  [2, 0x3],
  [5, 0x37],
  [6, 0x3f],
  [8, 0x63f],
])

type Block = { readonly type: number; readonly body: Buffer; readonly nextOffset: number; readonly isLast: boolean }

function blockAt(file: OpenFile, byteOffset: number): Block | null {
  const header = readRange(file, byteOffset, BLOCK_HEADER_BYTES)
  if (header.length < BLOCK_HEADER_BYTES) return null
  const [first = 0, high = 0, middle = 0, low = 0] = header
  const byteCount = high * 65536 + middle * 256 + low
  const bodyOffset = byteOffset + BLOCK_HEADER_BYTES
  const body = Buffer.from(readRange(file, bodyOffset, Math.min(byteCount, MAX_COMMENT_BYTES)))
  return { type: first % 128, body, nextOffset: bodyOffset + byteCount, isLast: first >= 128 }
}

/** Reads the metadata of a FLAC file; refuses rates and word lengths that are not supported. */
export function readFlacHeader(file: OpenFile): FlacHeader {
  const { path } = file
  const first = blockAt(file, MARKER_BYTES)
  if (first === null || first.type !== STREAM_INFO || first.body.length < STREAM_INFO_BYTES) {
    throw unreadable(
      'MEDIA_HEADER_TRUNCATED',
      path,
      `the end of the file after ${file.byteCount} bytes, before its audio`,
    )
  }
  // 20 bits of rate, 3 of channels - 1, 5 of bits - 1, 36 of frames.
  const packed = first.body.readBigUInt64BE(10)
  const sampleRateHz = Number(packed >> 44n)
  const channelCount = Number((packed >> 41n) & 7n) + 1
  const bitsPerSample = Number((packed >> 36n) & 31n) + 1
  const frameCount = Number(packed & 0xfffffffffn)
  if (!SAMPLE_RATES_HZ.includes(sampleRateHz)) throw unreadable('MEDIA_SAMPLE_RATE', path, `${sampleRateHz} Hz`)
  const encoding = ENCODINGS.get(bitsPerSample)
  if (encoding === undefined) throw unreadable('MEDIA_SAMPLE_SIZE', path, `${bitsPerSample}-bit samples in FLAC`)
  if (frameCount === 0) throw unreadable('MEDIA_FLAC_LENGTH', path, 'a total of 0 samples in its header')
  const md5 = first.body.toString('hex', MD5_OFFSET, STREAM_INFO_BYTES)
  const { channelMask, audioByteOffset } = walkMetadata(file, first)
  return {
    format: { encoding, channelCount, sampleRateHz },
    bitsPerSample,
    frameCount,
    md5: /^0+$/.test(md5) ? null : md5,
    channelMask: channelMask ?? IMPLIED_MASKS.get(channelCount) ?? null,
    audioByteOffset,
  }
}

/** RFC 9639 clause 8.6.2: the field WAVEFORMATEXTENSIBLE_CHANNEL_MASK outranks the implied order. */
function walkMetadata(file: OpenFile, streamInfo: Block): { channelMask: number | null; audioByteOffset: number } {
  let channelMask: number | null = null
  let block = streamInfo
  while (!block.isLast) {
    const next = blockAt(file, block.nextOffset)
    if (next === null) {
      const found = `the end of the file after ${file.byteCount} bytes, before its audio`
      throw unreadable('MEDIA_HEADER_TRUNCATED', file.path, found)
    }
    block = next
    if (block.type !== VORBIS_COMMENT) continue
    const field = /WAVEFORMATEXTENSIBLE_CHANNEL_MASK=0x([0-9a-f]{1,8})/i.exec(block.body.toString('latin1'))
    if (field !== null) channelMask = Number.parseInt(field[1] as string, 16)
  }
  return { channelMask, audioByteOffset: block.nextOffset }
}

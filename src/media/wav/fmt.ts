import {
  BYTES_PER_SAMPLE,
  bytesPerFrame,
  type PcmFormat,
  SAMPLE_RATES_HZ,
  type SampleEncoding,
} from '../../domain/index.ts'
import { unreadable } from '../refusals.ts'

const TAG_INTEGER = 1
const TAG_FLOAT = 3
const TAG_EXTENSIBLE = 0xfffe
const PLAIN_BYTES = 16
const PLAIN_WITH_EXTENSION_SIZE_BYTES = 18
const EXTENSIBLE_BYTES = 40
const EXTENSION_BYTES = EXTENSIBLE_BYTES - PLAIN_WITH_EXTENSION_SIZE_BYTES
/** Byte offsets in the fmt chunk of WAVE_FORMAT_EXTENSIBLE. */
const VALID_BITS_OFFSET = 18
const MASK_OFFSET = 20
const SUBFORMAT_OFFSET = 24
/** The part of a SubFormat GUID behind the format tag that it stands for: xxxx0000-0000-0010-8000-00AA00389B71. */
const SUBFORMAT_TAIL = '0000000010008000' + '00aa00389b71'

/** Codings that meet in WAV files and are not PCM, by their format tag. */
const CODING_NAMES: ReadonlyMap<number, string> = new Map([
  [0x0002, 'ADPCM'],
  [0x0006, 'A-law'],
  [0x0007, 'mu-law'],
  [0x0011, 'IMA ADPCM'],
  [0x0050, 'MPEG audio layer I or II'],
  [0x0055, 'MPEG audio layer III'],
  [0x0092, 'AC-3 in bursts (IEC 61937)'],
  [0x00ff, 'AAC'],
  [0x2000, 'AC-3'],
])

export type WavFormat = {
  readonly format: PcmFormat
  /** Significant bits of a sample, which may stand in a longer word (24 in 32). */
  readonly bitsPerSample: number
  /** Null in the plain form of the chunk, which has no room for a mask. */
  readonly channelMask: number | null
}

/** Reads a fmt chunk; refuses codings, rates and word lengths that are not supported, and contradictions. */
export function parseFormat(path: string, bytes: Uint8Array): WavFormat {
  if (bytes.length < PLAIN_BYTES) throw unreadable('MEDIA_NO_FORMAT', path, `a fmt chunk of ${bytes.length} bytes`)
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length)
  const stated = view.getUint16(0, true)
  const isExtensible = stated === TAG_EXTENSIBLE
  if (isExtensible && bytes.length < EXTENSIBLE_BYTES) {
    throw unreadable('MEDIA_NO_FORMAT', path, `a WAVE_FORMAT_EXTENSIBLE fmt chunk of only ${bytes.length} bytes`)
  }
  const tag = isExtensible ? subFormatTag(path, view) : stated
  if (tag !== TAG_INTEGER && tag !== TAG_FLOAT) throw unreadable('MEDIA_UNKNOWN_CODING', path, codingName(tag))

  const channelCount = view.getUint16(2, true)
  if (channelCount === 0) throw unreadable('MEDIA_NO_CHANNELS', path, '0 channels')
  const sampleRateHz = view.getUint32(4, true)
  if (!SAMPLE_RATES_HZ.includes(sampleRateHz)) throw unreadable('MEDIA_SAMPLE_RATE', path, `${sampleRateHz} Hz`)

  const wordBits = view.getUint16(14, true)
  const encoding = encodingOf(path, tag, wordBits)
  const format: PcmFormat = { encoding, channelCount, sampleRateHz }
  const blockAlign = view.getUint16(12, true)
  if (blockAlign !== bytesPerFrame(format)) {
    const found = `a block align of ${blockAlign} bytes for ${channelCount} channels of ${wordBits} bits`
    throw unreadable('MEDIA_BLOCK_ALIGN', path, found)
  }
  const validBits = isExtensible ? view.getUint16(VALID_BITS_OFFSET, true) : 0
  if (validBits > wordBits) {
    throw unreadable('MEDIA_BLOCK_ALIGN', path, `${validBits} valid bits in words of ${wordBits} bits`)
  }
  return {
    format,
    bitsPerSample: validBits === 0 ? wordBits : validBits,
    channelMask: isExtensible ? view.getUint32(MASK_OFFSET, true) : null,
  }
}

function subFormatTag(path: string, view: DataView): number {
  const guid = Buffer.from(view.buffer, view.byteOffset + SUBFORMAT_OFFSET, 16)
  if (guid.toString('hex', 2) !== SUBFORMAT_TAIL) {
    throw unreadable('MEDIA_UNKNOWN_CODING', path, `a coding with the identifier ${guid.toString('hex')}`)
  }
  return guid.readUInt16LE(0)
}

function codingName(tag: number): string {
  return `${CODING_NAMES.get(tag) ?? 'an unknown coding'} (format tag 0x${tag.toString(16).padStart(4, '0')})`
}

/** Samples of fewer bits stand left-justified in the next whole number of bytes. */
function encodingOf(path: string, tag: number, wordBits: number): SampleEncoding {
  const wordBytes = Math.ceil(wordBits / 8)
  if (tag === TAG_FLOAT && wordBits === 32) return 'float32'
  if (tag === TAG_FLOAT && wordBits === 64) return 'float64'
  if (tag === TAG_INTEGER && wordBytes === 2) return 'int16'
  if (tag === TAG_INTEGER && wordBytes === 3) return 'int24'
  if (tag === TAG_INTEGER && wordBytes === 4) return 'int32'
  throw unreadable('MEDIA_SAMPLE_SIZE', path, `${wordBits}-bit ${tag === TAG_FLOAT ? 'float' : 'integer'} samples`)
}

/**
 * Writes a fmt chunk body: the plain form for one and two channels, WAVE_FORMAT_EXTENSIBLE with the mask for more.
 * @source WAVE_FORMAT_EXTENSIBLE; EBU Tech 3285 for the plain form
 */
export function encodeFormat(format: PcmFormat, channelMask: number): Buffer {
  const isFloat = format.encoding === 'float32' || format.encoding === 'float64'
  const tag = isFloat ? TAG_FLOAT : TAG_INTEGER
  const isExtensible = format.channelCount > 2
  const byteCount = isExtensible ? EXTENSIBLE_BYTES : isFloat ? PLAIN_WITH_EXTENSION_SIZE_BYTES : PLAIN_BYTES
  const wordBits = 8 * BYTES_PER_SAMPLE[format.encoding]
  const body = Buffer.alloc(byteCount)
  body.writeUInt16LE(isExtensible ? TAG_EXTENSIBLE : tag, 0)
  body.writeUInt16LE(format.channelCount, 2)
  body.writeUInt32LE(format.sampleRateHz, 4)
  body.writeUInt32LE(format.sampleRateHz * bytesPerFrame(format), 8)
  body.writeUInt16LE(bytesPerFrame(format), 12)
  body.writeUInt16LE(wordBits, 14)
  if (isExtensible) {
    body.writeUInt16LE(EXTENSION_BYTES, 16)
    body.writeUInt16LE(wordBits, VALID_BITS_OFFSET)
    body.writeUInt32LE(channelMask, MASK_OFFSET)
    body.writeUInt16LE(tag, SUBFORMAT_OFFSET)
    body.write(SUBFORMAT_TAIL, SUBFORMAT_OFFSET + 2, 'hex')
  }
  return body
}

export function isPlainInteger(formatBody: Buffer): boolean {
  return formatBody.readUInt16LE(0) === TAG_INTEGER
}

import { execFileSync } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll } from 'vitest'
import { bytesPerFrame, type PcmFormat, Refusal } from '../../src/domain/index.ts'

/** A folder that the test file has to itself and that is gone after it. */
export function temporaryFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'plimsoll-media-'))
  afterAll(() => rmSync(folder, { recursive: true, force: true }))
  return folder
}

/** Runs an outside tool and gives back what it printed on stdout, as bytes. */
export function run(program: string, ...args: string[]): Buffer {
  return execFileSync(program, args, { stdio: ['ignore', 'pipe', 'ignore'], maxBuffer: 1 << 28 })
}

/** Deterministic noise as interleaved PCM: every bit of integers moves, floats stay inside full scale. */
export function noisePcm(format: PcmFormat, frameCount: number, seed = 1): Buffer {
  const bytes = Buffer.alloc(frameCount * bytesPerFrame(format))
  let state = seed
  const next = () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0
    return state
  }
  if (format.encoding === 'float32') {
    for (let at = 0; at < bytes.length; at += 4) bytes.writeFloatLE(next() / 2 ** 31 - 1, at)
  } else if (format.encoding === 'float64') {
    for (let at = 0; at < bytes.length; at += 8) bytes.writeDoubleLE(next() / 2 ** 31 - 1, at)
  } else {
    for (let at = 0; at < bytes.length; at++) bytes[at] = next() >>> 24
  }
  return bytes
}

/** A chunk as the test wants it: `size` and `pad` may lie. */
export function chunk(name: string, body: Buffer, lies: { size?: number; pad?: Buffer } = {}): Buffer {
  const header = Buffer.alloc(8)
  header.write(name, 0, 'latin1')
  header.writeUInt32LE(lies.size ?? body.length, 4)
  return Buffer.concat([header, body, lies.pad ?? Buffer.alloc(body.length % 2)])
}

/** The fields of a fmt chunk; written from the layout of WAVEFORMATEX, apart from the code under test. */
export type FormatFields = {
  tag?: number
  channelCount: number
  sampleRateHz?: number
  bits: number
  blockAlign?: number
  /** Present: WAVE_FORMAT_EXTENSIBLE with this mask, valid bits and format tag inside the SubFormat. */
  extensible?: { mask: number; validBits?: number; tag?: number }
}

export function formatBody(fields: FormatFields): Buffer {
  const rate = fields.sampleRateHz ?? 48000
  const blockAlign = fields.blockAlign ?? (fields.channelCount * fields.bits) / 8
  const body = Buffer.alloc(fields.extensible === undefined ? 16 : 40)
  body.writeUInt16LE(fields.tag ?? (fields.extensible === undefined ? 1 : 0xfffe), 0)
  body.writeUInt16LE(fields.channelCount, 2)
  body.writeUInt32LE(rate, 4)
  body.writeUInt32LE((rate * blockAlign) % 2 ** 32, 8)
  body.writeUInt16LE(blockAlign, 12)
  body.writeUInt16LE(fields.bits, 14)
  if (fields.extensible !== undefined) {
    body.writeUInt16LE(22, 16)
    body.writeUInt16LE(fields.extensible.validBits ?? fields.bits, 18)
    body.writeUInt32LE(fields.extensible.mask, 20)
    body.writeUInt16LE(fields.extensible.tag ?? 1, 24)
    body.write('000000001000800000aa00389b71', 26, 'hex')
  }
  return body
}

/** A whole RIFF file of these chunks; `size` may lie. */
export function riff(chunks: readonly Buffer[], lies: { name?: string; size?: number } = {}): Buffer {
  const body = Buffer.concat([Buffer.from('WAVE', 'latin1'), ...chunks])
  return chunk(lies.name ?? 'RIFF', body, { size: lies.size ?? body.length, pad: Buffer.alloc(0) })
}

/** The code of the refusal that the work ends in; anything else it throws is thrown on. */
export function refusalOf(work: () => unknown): Refusal {
  try {
    work()
  } catch (error) {
    if (error instanceof Refusal) return error
    throw error
  }
  throw new Error('the work was not refused')
}

import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import { noisePcm, refusalOf, run, temporaryFolder } from '../../../test/testkit/wav.ts'
import { bytesPerFrame, Cancelled, type PcmFormat, Refusal } from '../../domain/index.ts'
import { decodeToScratch, openPcm, probe } from '../index.ts'

const folder = temporaryFolder()
const scratch = join(folder, 'scratch.pcm')

/** Tones under noise, so that the encoder predicts, and full-scale samples at the start. */
function programme(format: PcmFormat, frameCount: number): Buffer {
  const bytes = noisePcm(format, frameCount)
  const sampleBytes = bytesPerFrame(format) / format.channelCount
  const fullScale = 2 ** (8 * sampleBytes - 1)
  for (let at = 2 * format.channelCount; at < frameCount * format.channelCount; at++) {
    const frame = Math.floor(at / format.channelCount)
    const tone = Math.sin(((1 + (at % format.channelCount)) * frame) / 40) * fullScale * 0.7
    bytes.writeIntLE(Math.round(tone) + (bytes[at * sampleBytes] as number), at * sampleBytes, sampleBytes)
  }
  for (let channel = 0; channel < format.channelCount; channel++) {
    bytes.writeIntLE(fullScale - 1, channel * sampleBytes, sampleBytes)
    bytes.writeIntLE(-fullScale, (format.channelCount + channel) * sampleBytes, sampleBytes)
  }
  return bytes
}

function encode(name: string, pcm: Buffer, bits: number, channelCount: number, more: string[] = []): string {
  const raw = join(folder, `${name}.raw`)
  const path = join(folder, `${name}.flac`)
  writeFileSync(raw, pcm)
  const shape = [
    '--endian=little',
    '--sign=signed',
    `--bps=${bits}`,
    '--sample-rate=48000',
    `--channels=${channelCount}`,
  ]
  run('flac', '-f', '-s', '--force-raw-format', ...shape, ...more, '-o', path, raw)
  return path
}

async function refusalOfAsync(work: Promise<unknown>): Promise<Refusal> {
  const result = await work.catch((error: unknown) => error)
  if (result instanceof Refusal) return result
  throw new Error('the work was not refused', { cause: result })
}

describe('FLAC', () => {
  test.each([
    ['int16', 2, '2.0'],
    ['int24', 2, '2.0'],
    ['int16', 6, '5.1'],
    ['int24', 6, '5.1'],
    ['int24', 1, 'mono'],
    ['int24', 5, '5.0'],
  ] as const)('%s with %i channels is decoded bit for bit', async (encoding, channelCount, layout) => {
    const format: PcmFormat = { encoding, channelCount, sampleRateHz: 48000 }
    const bits = encoding === 'int16' ? 16 : 24
    const pcm = programme(format, 48000)
    const path = encode(`${encoding}-${channelCount}`, pcm, bits, channelCount)

    const found = probe(path)
    expect(found).toMatchObject({ container: 'FLAC', bitsPerSample: bits, layout, format, frameCount: 48000 })
    expect(found.location).toBeNull()
    const shares: number[] = []
    const location = await decodeToScratch(path, scratch, { progress: (share) => shares.push(share) })
    expect(location).toMatchObject({ path: scratch, dataByteOffset: 0, format, layout, frameCount: 48000 })
    expect(shares.at(-1)).toBe(1)

    const ours = readFileSync(scratch)
    const theirs = run('flac', '-d', '-s', '-c', '--force-raw-format', '--endian=little', '--sign=signed', path)
    expect(ours.equals(pcm)).toBe(true)
    expect(ours.equals(theirs)).toBe(true)
    const ffmpeg = run('ffmpeg', '-v', 'error', '-i', path, '-f', bits === 16 ? 's16le' : 's24le', '-')
    expect(ours.equals(ffmpeg)).toBe(true)
  })

  test('every integer of 16 bits, and a last frame as short as silence makes it', async () => {
    const ramp = Buffer.alloc(65536 * 2 + 4096 * 2)
    for (let value = -32768; value < 32768; value++) ramp.writeInt16LE(value, (value + 32768) * 2)
    await decodeToScratch(encode('ramp', ramp, 16, 1), scratch)
    expect(readFileSync(scratch).equals(ramp)).toBe(true)
    for (const frames of [1, 4095, 4096, 4097]) {
      const short = Buffer.alloc(frames * 12)
      await decodeToScratch(encode('short', short, 16, 6), scratch)
      expect(readFileSync(scratch).equals(short), `${frames} frames`).toBe(true)
    }
  })

  test('7.1 arrives in our order: RFC 9639 puts the back pair before the side pair', async () => {
    const frame = Buffer.from([1, 2, 3, 4, 7, 8, 5, 6].flatMap((channel) => [channel, 0]))
    const path = encode('seven', Buffer.concat(Array.from({ length: 100 }, () => frame)), 16, 8)
    const location = await decodeToScratch(path, scratch)
    expect(location.layout).toBe('7.1')
    const audio = openPcm(location)
    const bytes = Buffer.alloc(16)
    audio.readInto(bytes, 50, 1)
    audio.close()
    expect([...bytes].filter((_, at) => at % 2 === 0)).toEqual([1, 2, 3, 4, 5, 6, 7, 8])
  })

  test('a channel mask in the comments outranks the implied order (RFC 9639 8.6.2)', () => {
    const pcm = noisePcm({ encoding: 'int16', channelCount: 6, sampleRateHz: 48000 }, 100)
    const mask = (value: string) => ['-T', `WAVEFORMATEXTENSIBLE_CHANNEL_MASK=${value}`]
    expect(probe(encode('side', pcm, 16, 6, mask('0x060F')))).toMatchObject({ channelMask: 0x60f, layout: '5.1' })
    const path = encode('hexagon', pcm, 16, 6, mask('0x0707'))
    expect(refusalOf(() => probe(path)).code).toBe('MEDIA_CHANNEL_MASK')
  })

  test('a damaged or shortened file is refused and leaves no scratch file', async () => {
    const format: PcmFormat = { encoding: 'int24', channelCount: 2, sampleRateHz: 48000 }
    const whole = readFileSync(encode('whole', programme(format, 48000), 24, 2))
    const path = join(folder, 'damaged.flac')
    const damagedBy = async (bytes: Buffer) => {
      writeFileSync(path, bytes)
      const { code } = await refusalOfAsync(decodeToScratch(path, scratch))
      expect(existsSync(scratch)).toBe(false)
      return code
    }
    const flipped = Buffer.from(whole)
    flipped[Math.floor(whole.length / 2)]! ^= 0x10
    expect(await damagedBy(flipped)).toBe('MEDIA_FLAC_DAMAGED')
    expect(await damagedBy(whole.subarray(0, Math.floor(whole.length * 0.6)))).toBe('MEDIA_FLAC_DAMAGED')
    const otherSum = Buffer.from(whole)
    otherSum[8 + 18]! ^= 1
    expect(await damagedBy(otherSum)).toBe('MEDIA_FLAC_DAMAGED')
    expect(await damagedBy(whole.subarray(0, 20))).toBe('MEDIA_HEADER_TRUNCATED')
  })

  test('a length that is not told is refused', () => {
    const bytes = readFileSync(
      encode('untold', programme({ encoding: 'int16', channelCount: 2, sampleRateHz: 48000 }, 100), 16, 2),
    )
    const path = join(folder, 'untold-length.flac')
    bytes.fill(0, 8 + 14, 8 + 18)
    writeFileSync(path, bytes)
    expect(refusalOf(() => probe(path)).code).toBe('MEDIA_FLAC_LENGTH')
  })

  test('a request to stop ends the work and leaves no scratch file', async () => {
    const path = encode('stopped', programme({ encoding: 'int16', channelCount: 2, sampleRateHz: 48000 }, 48000), 16, 2)
    await expect(decodeToScratch(path, scratch, { cancellation: { aborted: true } })).rejects.toBeInstanceOf(Cancelled)
    expect(existsSync(scratch)).toBe(false)
  })
})

import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { chunk, formatBody, noisePcm, refusalOf, riff, temporaryFolder } from '../../../test/testkit/wav.ts'
import { bytesPerFrame, type PcmFormat } from '../../domain/index.ts'
import { openPcm, probe } from '../index.ts'

const folder = temporaryFolder()
const path = join(folder, 'read.wav')
const STEREO_24: PcmFormat = { encoding: 'int24', channelCount: 2, sampleRateHz: 48000 }

function readAll(file: string, options = {}): Buffer {
  const { location } = probe(file, options)
  if (location === null) throw new Error('no location')
  const audio = openPcm(location)
  const bytes = Buffer.alloc(audio.frameCount * bytesPerFrame(audio.format))
  audio.readInto(bytes, 0, audio.frameCount)
  audio.close()
  return bytes
}

function withFindings(bytes: Buffer): { frameCount: number; findings: string[] } {
  writeFileSync(path, bytes)
  const { frameCount, findings } = probe(path)
  return { frameCount, findings: findings.map(({ id, severity }) => `${severity} ${id}`) }
}

describe('chunks in any order, any padding', () => {
  // RIFF: chunks may stand in any order and are padded to even addresses; writers that forget the pad byte exist.
  const extras = fc.array(
    fc.record({
      name: fc.constantFrom('JUNK', 'LIST', 'iXML', 'cue ', 'PEAK', 'fact', 'axml', 'id3 '),
      body: fc.uint8Array({ maxLength: 97 }),
      forgetsPad: fc.boolean(),
    }),
    { maxLength: 6 },
  )

  test('the same audio is found wherever the chunks stand', () => {
    const order = fc.shuffledSubarray(['fmt ', 'data', 'bext'], { minLength: 3 })
    fc.assert(
      fc.property(extras, order, fc.integer({ min: 1, max: 40 }), fc.boolean(), (junk, needed, frames, mono) => {
        const format = mono ? { ...STEREO_24, channelCount: 1 } : STEREO_24
        const pcm = noisePcm(format, frames)
        const bext = Buffer.alloc(603)
        bext.write('Saltmarsh Lane', 0, 'latin1')
        const bodies = new Map([
          ['fmt ', formatBody({ channelCount: format.channelCount, bits: 24 })],
          ['data', pcm],
          ['bext', bext],
        ])
        const parts = [
          ...junk.slice(0, 3).map(({ name, body, forgetsPad }) => ({ name, body: Buffer.from(body), forgetsPad })),
          ...needed.map((name) => ({ name, body: bodies.get(name) as Buffer, forgetsPad: false })),
          ...junk.slice(3).map(({ name, body, forgetsPad }) => ({ name, body: Buffer.from(body), forgetsPad })),
        ]
        const chunks = parts.map((part, index) => {
          const isLast = index === parts.length - 1
          return chunk(part.name, part.body, part.forgetsPad || isLast ? { pad: Buffer.alloc(0) } : {})
        })
        writeFileSync(path, riff(chunks))
        const found = probe(path)
        expect(found.frameCount).toBe(frames)
        expect(found.bext?.description).toBe('Saltmarsh Lane')
        // Random bytes in a chunk called iXML are told as such.
        expect(found.findings.filter(({ id }) => id !== 'ixml')).toEqual([])
        expect(readAll(path).equals(pcm)).toBe(true)
      }),
      { numRuns: 300 },
    )
  })

  test('any split into blocks reads the same bytes', () => {
    const pcm = noisePcm(STEREO_24, 1000)
    writeFileSync(path, riff([chunk('fmt ', formatBody({ channelCount: 2, bits: 24 })), chunk('data', pcm)]))
    const { location } = probe(path)
    if (location === null) throw new Error('no location')
    const audio = openPcm(location)
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 999 }), fc.integer({ min: 0, max: 1000 }), (first, length) => {
        const count = Math.min(length, 1000 - first)
        const bytes = Buffer.alloc(count * 6 + 3, 0xaa)
        audio.readInto(bytes, first, count)
        expect(bytes.subarray(0, count * 6).equals(pcm.subarray(first * 6, (first + count) * 6))).toBe(true)
        expect(bytes.subarray(count * 6).equals(Buffer.alloc(3, 0xaa))).toBe(true)
      }),
    )
    expect(() => audio.readInto(new Uint8Array(12), 999, 2)).toThrow(/outside/)
    audio.close()
  })
})

describe('sizes that are wrong or missing', () => {
  const fmt = chunk('fmt ', formatBody({ channelCount: 2, bits: 24 }))
  const pcm = noisePcm(STEREO_24, 100)
  const list = chunk('LIST', Buffer.from('INFOISFT'))

  test('a file cut inside its audio is read as far as it goes, with a finding that fails', () => {
    const whole = riff([fmt, chunk('data', pcm)])
    expect(withFindings(whole)).toEqual({ frameCount: 100, findings: [] })
    expect(withFindings(whole.subarray(0, whole.length - 60))).toEqual({
      frameCount: 90,
      findings: ['fail truncated-data'],
    })
    expect(withFindings(whole.subarray(0, whole.length - 61)).findings).toEqual([
      'fail truncated-data',
      'warn partial-frame',
    ])
  })

  test('a data size of 0 before audio: a recording that was never closed', () => {
    expect(withFindings(riff([fmt, chunk('data', pcm, { size: 0 })], { size: 0 }))).toEqual({
      frameCount: 100,
      findings: ['fail lying-size'],
    })
    const empty = riff([fmt, chunk('data', Buffer.alloc(0)), list])
    writeFileSync(path, empty)
    expect(refusalOf(() => probe(path)).code).toBe('MEDIA_NO_AUDIO')
  })

  test('a data size of 0xFFFFFFFF in RIFF: written into a pipe', () => {
    const piped = riff([fmt, list, chunk('data', pcm, { size: 0xffffffff })], { size: 0xffffffff })
    expect(withFindings(piped)).toEqual({ frameCount: 100, findings: ['warn size-not-told'] })
  })

  test('a data size below the audio that is there', () => {
    // As after 4 GiB wrapped round a 32-bit field: the rest looks like no chunk.
    const short = riff([fmt, chunk('data', pcm, { size: 60 })])
    expect(withFindings(short)).toEqual({ frameCount: 10, findings: ['fail lying-size'] })
  })

  test('a form size that contradicts the audio or the file', () => {
    expect(withFindings(riff([fmt, chunk('data', pcm)], { size: 100 })).findings).toEqual(['fail lying-size'])
    expect(withFindings(riff([fmt, chunk('data', pcm)], { size: 100_000 })).findings).toEqual(['fail lying-size'])
    const exact = riff([fmt, chunk('data', pcm)])
    expect(withFindings(riff([fmt, chunk('data', pcm)], { size: exact.length })).findings).toEqual([])
  })

  test('a tag behind the form is a note; the same bytes inside the form are not', () => {
    const tag = Buffer.concat([Buffer.from('TAG'), Buffer.alloc(125)])
    const whole = riff([fmt, chunk('data', pcm)])
    expect(withFindings(Buffer.concat([whole, tag])).findings).toEqual(['note trailing-bytes'])
    expect(withFindings(riff([fmt, chunk('data', pcm), tag])).findings).toEqual(['fail lying-size'])
  })

  test('RF64 and BW64 take their sizes from ds64', () => {
    const ds64 = Buffer.alloc(28 + 12)
    ds64.writeBigUInt64LE(BigInt(pcm.length), 8)
    ds64.writeUInt32LE(1, 24)
    ds64.write('JUNK', 28, 'latin1')
    ds64.writeBigUInt64LE(5n, 32)
    const chunks = (data: number) => [
      chunk('ds64', ds64),
      chunk('JUNK', Buffer.alloc(5), { size: 0xffffffff }),
      fmt,
      chunk('data', pcm, { size: data }),
      list,
    ]
    for (const name of ['RF64', 'BW64']) {
      ds64.writeBigUInt64LE(BigInt(riff(chunks(0)).length - 8), 0)
      const bytes = riff(chunks(0xffffffff), { name, size: 0xffffffff })
      expect(withFindings(bytes), name).toEqual({ frameCount: 100, findings: [] })
      expect(probe(path).container).toBe(name)
      expect(readAll(path).equals(pcm)).toBe(true)
    }
    ds64.writeBigUInt64LE(0xffffffffffffffffn, 8)
    const absurd = riff(chunks(0xffffffff), { name: 'RF64', size: 0xffffffff })
    expect(withFindings(absurd).findings).toEqual(['fail truncated-data', 'warn partial-frame'])
  })
})

describe('layouts', () => {
  function layoutOf(channelCount: number, mask: number | null, options = {}) {
    const bits = 16
    const body = formatBody({ channelCount, bits, ...(mask === null ? {} : { extensible: { mask } }) })
    writeFileSync(path, riff([chunk('fmt ', body), chunk('data', Buffer.alloc(channelCount * 2 * 10))]))
    const { layout, location } = probe(path, options)
    return [layout, location?.layout, location?.channelOrder]
  }

  // Masks: WAVE_FORMAT_EXTENSIBLE dwChannelMask bits FL FR FC LFE BL BR FLC FRC BC SL SR, ascending in the file.
  test('from the channel mask', () => {
    expect(layoutOf(1, null)).toEqual(['mono', 'mono', null])
    expect(layoutOf(1, 0x1)).toEqual(['mono', 'mono', null])
    expect(layoutOf(2, null)).toEqual(['2.0', '2.0', null])
    for (const mask of [0x37, 0x607]) expect(layoutOf(5, mask)).toEqual(['5.0', '5.0', null])
    for (const mask of [0x3f, 0x60f]) expect(layoutOf(6, mask)).toEqual(['5.1', '5.1', null])
    expect(layoutOf(8, 0x63f)).toEqual(['7.1', '7.1', [0, 1, 2, 3, 6, 7, 4, 5]])
  })

  test('not told: no mask, mask 0, or a mask for another number of channels', () => {
    for (const mask of [null, 0, 0x3]) expect(layoutOf(6, mask)).toEqual([null, '5.1', null])
    expect(layoutOf(5, 0)).toEqual([null, '5.0', null])
    expect(layoutOf(8, 0)).toEqual([null, '7.1', null])
  })

  test('told by the user: film L C R Ls Rs LFE, AAC C L R Ls Rs LFE (ISO/IEC 14496-3)', () => {
    expect(layoutOf(6, 0, { layout: '5.1' })).toEqual(['5.1', '5.1', null])
    expect(layoutOf(6, 0x3f, { order: 'film' })).toEqual(['5.1', '5.1', [0, 2, 1, 5, 3, 4]])
    expect(layoutOf(6, null, { order: 'aac' })).toEqual(['5.1', '5.1', [1, 2, 0, 5, 3, 4]])
    expect(layoutOf(5, 0, { order: 'aac' })).toEqual(['5.0', '5.0', [1, 2, 0, 3, 4]])
    expect(layoutOf(8, 0xff, { layout: '7.1' })).toEqual(['7.1', '7.1', null])
    expect(layoutOf(8, 0x63f, { layout: '7.1' })).toEqual(['7.1', '7.1', [0, 1, 2, 3, 6, 7, 4, 5]])
  })

  test('what fits no layout is refused', () => {
    const code = (...args: Parameters<typeof layoutOf>) => refusalOf(() => layoutOf(...args)).code
    expect(code(8, 0xff)).toBe('MEDIA_CHANNEL_MASK')
    expect(code(6, 0x707)).toBe('MEDIA_CHANNEL_MASK')
    for (const count of [3, 4, 7, 9, 16]) expect(code(count, null)).toBe('MEDIA_CHANNEL_COUNT')
    expect(code(6, 0x3f, { layout: '2.0' })).toBe('MEDIA_LAYOUT_MISMATCH')
    expect(code(8, 0x63f, { order: 'film' })).toBe('MEDIA_LAYOUT_MISMATCH')
  })

  test('channels in another order arrive in the order of the layout', () => {
    const film = Buffer.from([1, 3, 2, 5, 6, 4].flatMap((channel) => [channel, channel + 10]))
    const body = formatBody({ channelCount: 6, bits: 16 })
    writeFileSync(path, riff([chunk('fmt ', body), chunk('data', Buffer.concat([film, film]))]))
    const frame = [1, 2, 3, 4, 5, 6].flatMap((channel) => [channel, channel + 10])
    expect([...readAll(path, { order: 'film' })]).toEqual([...frame, ...frame])
  })

  test('24 valid bits in words of 32 are told apart from 32', () => {
    const body = formatBody({ channelCount: 2, bits: 32, extensible: { mask: 3, validBits: 24 } })
    writeFileSync(path, riff([chunk('fmt ', body), chunk('data', Buffer.alloc(80))]))
    const { bitsPerSample, format } = probe(path)
    expect([bitsPerSample, format.encoding]).toEqual([24, 'int32'])
  })
})

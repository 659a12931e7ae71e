import { execFileSync } from 'node:child_process'
import { chmodSync, existsSync, mkdirSync, readFileSync, rmSync, statfsSync, symlinkSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import { LAYOUTS, type LayoutName, Refusal } from '../../src/domain/index.ts'
import {
  createWav,
  MEDIA_REFUSALS,
  openPcm,
  openPcmSink,
  type PcmLocation,
  probe,
  sealWav,
  sha256Of,
  type WavPlan,
} from '../../src/media/index.ts'
import { chunk, type FormatFields, formatBody, refusalOf, riff, run, temporaryFolder } from '../testkit/wav.ts'

const folder = temporaryFolder()
const path = join(folder, 'fault.wav')

function codeOf(bytes: Buffer): string {
  writeFileSync(path, bytes)
  return refusalOf(() => probe(path)).code
}

function wav(fields: FormatFields, data = Buffer.alloc(960)): Buffer {
  return riff([chunk('fmt ', formatBody(fields)), chunk('data', data)])
}

const STEREO = { channelCount: 2, bits: 24 }

describe('each damaged or foreign file has its own refusal', () => {
  test('empty, and cut inside the header at every byte', () => {
    expect(codeOf(Buffer.alloc(0))).toBe('MEDIA_EMPTY')
    const whole = riff([
      chunk('JUNK', Buffer.alloc(28)),
      chunk('fmt ', formatBody(STEREO)),
      chunk('data', Buffer.alloc(960)),
    ])
    const dataStart = whole.indexOf('data') + 8
    for (let length = 1; length < dataStart; length++) {
      expect(codeOf(whole.subarray(0, length)), `${length} bytes`).toBe('MEDIA_HEADER_TRUNCATED')
    }
    for (let length = dataStart; length < dataStart + 6; length++) {
      expect(codeOf(whole.subarray(0, length)), `${length} bytes`).toBe('MEDIA_NO_AUDIO')
    }
    writeFileSync(path, whole.subarray(0, dataStart + 6))
    expect(probe(path).frameCount).toBe(1)
  })

  const formats: [string, FormatFields][] = [
    ['MEDIA_NO_CHANNELS', { channelCount: 0, bits: 24 }],
    ['MEDIA_CHANNEL_COUNT', { channelCount: 7, bits: 24 }],
    ['MEDIA_CHANNEL_COUNT', { channelCount: 3, bits: 16 }],
    ['MEDIA_UNKNOWN_CODING', { ...STEREO, tag: 0x55 }],
    ['MEDIA_UNKNOWN_CODING', { ...STEREO, tag: 0x1234 }],
    ['MEDIA_UNKNOWN_CODING', { ...STEREO, extensible: { mask: 3, tag: 0x92 } }],
    ['MEDIA_SAMPLE_SIZE', { channelCount: 2, bits: 8 }],
    ['MEDIA_SAMPLE_SIZE', { channelCount: 2, bits: 64 }],
    ['MEDIA_SAMPLE_SIZE', { channelCount: 2, bits: 0, blockAlign: 6 }],
    ['MEDIA_SAMPLE_SIZE', { channelCount: 2, bits: 16, tag: 3 }],
    ['MEDIA_BLOCK_ALIGN', { ...STEREO, blockAlign: 4 }],
    ['MEDIA_BLOCK_ALIGN', { ...STEREO, blockAlign: 8 }],
    ['MEDIA_BLOCK_ALIGN', { ...STEREO, blockAlign: 0 }],
    ['MEDIA_BLOCK_ALIGN', { ...STEREO, extensible: { mask: 3, validBits: 32 } }],
    ['MEDIA_SAMPLE_RATE', { ...STEREO, sampleRateHz: 0 }],
    ['MEDIA_SAMPLE_RATE', { ...STEREO, sampleRateHz: 22050 }],
    ['MEDIA_SAMPLE_RATE', { ...STEREO, sampleRateHz: 0xffffffff }],
    ['MEDIA_CHANNEL_MASK', { channelCount: 8, bits: 24, extensible: { mask: 0xff } }],
  ]
  test.each(formats)('%s for %o', (code, fields) => expect(codeOf(wav(fields))).toBe(code))

  test('a fmt chunk that is missing or too short', () => {
    const data = chunk('data', Buffer.alloc(960))
    expect(codeOf(riff([data]))).toBe('MEDIA_NO_FORMAT')
    expect(codeOf(riff([chunk('fmt ', formatBody(STEREO).subarray(0, 14)), data]))).toBe('MEDIA_NO_FORMAT')
    const extensible = formatBody({ ...STEREO, extensible: { mask: 3 } })
    expect(codeOf(riff([chunk('fmt ', extensible.subarray(0, 26)), data]))).toBe('MEDIA_NO_FORMAT')
  })

  test('an unknown SubFormat', () => {
    const body = formatBody({ ...STEREO, extensible: { mask: 3 } })
    body[30] = 0x99
    expect(codeOf(riff([chunk('fmt ', body), chunk('data', Buffer.alloc(960))]))).toBe('MEDIA_UNKNOWN_CODING')
  })

  test('no data chunk, or one without a whole frame', () => {
    const fmt = chunk('fmt ', formatBody(STEREO))
    expect(codeOf(riff([fmt, chunk('LIST', Buffer.alloc(4))]))).toBe('MEDIA_NO_AUDIO')
    expect(codeOf(riff([fmt, chunk('data', Buffer.alloc(5))]))).toBe('MEDIA_NO_AUDIO')
  })

  test('ten thousand hostile chunks are walked quickly', () => {
    const many = Array.from({ length: 50_000 }, () => chunk('JUNK', Buffer.alloc(0)))
    const started = process.cpuUsage()
    expect(codeOf(riff(many))).toBe('MEDIA_NO_AUDIO')
    expect(process.cpuUsage(started).user).toBeLessThan(3_000_000)
  })

  test('random bytes behind a good beginning never break the reader', () => {
    // Whatever is there, the answer is a probe or a refusal of this layer; anything else is our fault and fails here.
    let state = 7
    for (let round = 0; round < 3000; round++) {
      const bytes = wav({ channelCount: 6, bits: 24, extensible: { mask: 0x3f } })
      for (let hit = 0; hit < 1 + (round % 6); hit++) {
        state = (Math.imul(state, 1664525) + 1013904223) >>> 0
        bytes[(state >>> 8) % 100] = state >>> 24
      }
      writeFileSync(path, bytes)
      try {
        const { location, frameCount } = probe(path)
        const audio = openPcm(location as PcmLocation)
        audio.readInto(new Uint8Array(64), frameCount - 1, 1)
        audio.close()
      } catch (error) {
        if (!(error instanceof Refusal)) throw error
        expect(MEDIA_REFUSALS).toHaveProperty(error.code)
      }
    }
  })
})

describe('containers are known by their first bytes, never by their name', () => {
  const tone = ['-f', 'lavfi', '-i', 'sine=frequency=440:duration=0.2:sample_rate=48000', '-ac', '2']
  const written: [string, string[], RegExp][] = [
    ['mp4', ['-c:a', 'aac'], /MP4 or QuickTime/],
    ['mov', ['-c:a', 'pcm_s24le'], /MP4 or QuickTime/],
    ['ogg', ['-c:a', 'libvorbis'], /Ogg/],
    ['mp3', ['-c:a', 'libmp3lame', '-id3v2_version', '0', '-write_xing', '0'], /MPEG audio layer III/],
    ['mp3', ['-c:a', 'libmp3lame', '-id3v2_version', '3'], /ID3 tag/],
    ['mp2', ['-c:a', 'mp2'], /MPEG audio layer II/],
    ['adts', ['-c:a', 'aac'], /AAC/],
    ['aiff', ['-c:a', 'pcm_s24be'], /AIFF/],
    ['caf', ['-c:a', 'pcm_s24le'], /CAF/],
    ['w64', ['-c:a', 'pcm_s24le'], /W64/],
    ['matroska', ['-c:a', 'pcm_s24le'], /Matroska/],
    ['mxf', ['-c:a', 'pcm_s24le', '-f', 'mxf'], /MXF/],
    ['ac3', ['-c:a', 'ac3'], /AC-3/],
    ['au', ['-c:a', 'pcm_s16be'], /AU file/],
    ['avi', ['-c:a', 'pcm_s16le'], /RIFF file of type "AVI "/],
  ]
  test.each(written)('%s %o named .wav', (format, coding, found) => {
    const input = format === 'mxf' ? ['-f', 'lavfi', '-i', 'color=size=720x576:rate=25:duration=0.2', ...tone] : tone
    run('ffmpeg', '-v', 'error', '-y', ...input, ...coding, '-f', format, path)
    const refusal = refusalOf(() => probe(path))
    expect(refusal.code).toBe('MEDIA_UNKNOWN_CONTAINER')
    expect(refusal.found).toMatch(found)
    expect(refusal.remedy).toMatch(/24-bit WAV/)
  })

  test('text, and a big-endian RIFF', () => {
    writeFileSync(path, 'Harbour Day, shot list')
    expect(refusalOf(() => probe(path)).found).toMatch(/"Harb"/)
    const big = wav(STEREO)
    big.write('RIFX', 0, 'latin1')
    writeFileSync(path, big)
    expect(refusalOf(() => probe(path)).found).toMatch(/big-endian/)
  })

  test('a WAV file under any other name is read', () => {
    const other = join(folder, 'programme.mp4')
    writeFileSync(other, wav(STEREO))
    expect(probe(other).container).toBe('RIFF')
  })
})

describe('what the system does not give', () => {
  test('nothing there, a folder, a pipe, a device, a loop of links', () => {
    const code = (at: string) => refusalOf(() => probe(at)).code
    expect(code(join(folder, 'nothing.wav'))).toBe('MEDIA_NOT_FOUND')
    writeFileSync(path, 'x')
    expect(code(join(path, 'below-a-file.wav'))).toBe('MEDIA_NOT_FOUND')
    expect(code(folder)).toBe('MEDIA_IS_FOLDER')
    const pipe = join(folder, 'pipe.wav')
    execFileSync('mkfifo', [pipe])
    expect(code(pipe)).toBe('MEDIA_NOT_A_FILE')
    expect(code('/dev/zero')).toBe('MEDIA_NOT_A_FILE')
    const loop = join(folder, 'loop.wav')
    symlinkSync(loop, loop)
    expect(code(loop)).toBe('MEDIA_NOT_FOUND')
  })

  /** Root may read and write everything, so the work is done as the user `nobody` where the tests run as root. */
  function asOrdinaryUser<T>(work: () => T): T {
    if (process.geteuid?.() !== 0) return work()
    process.seteuid?.(65534)
    try {
      return work()
    } finally {
      process.seteuid?.(0)
    }
  }

  test('a file that this user may not read', () => {
    chmodSync(folder, 0o755)
    const secret = join(folder, 'secret.wav')
    writeFileSync(secret, wav(STEREO))
    chmodSync(secret, 0o000)
    expect(asOrdinaryUser(() => refusalOf(() => probe(secret)).code)).toBe('MEDIA_NOT_READABLE')
    chmodSync(secret, 0o644)
    expect(asOrdinaryUser(() => probe(secret).frameCount)).toBe(160)
  })

  test('a folder that this user may not write, one that is missing, one that is a file', () => {
    const closed = join(folder, 'closed')
    mkdirSync(closed, { mode: 0o555 })
    const code = (at: string) => asOrdinaryUser(() => refusalOf(() => createWav(at, planOf('5.1', 100))).code)
    expect(code(join(closed, 'out.wav'))).toBe('MEDIA_OUTPUT_READ_ONLY')
    expect(code(join(folder, 'missing', 'out.wav'))).toBe('MEDIA_OUTPUT_FOLDER_MISSING')
    writeFileSync(path, 'x')
    expect(code(join(path, 'out.wav'))).toBe('MEDIA_OUTPUT_FOLDER_MISSING')
  })

  test('a file that became shorter while it was open', () => {
    writeFileSync(path, wav(STEREO))
    const { location } = probe(path)
    const audio = openPcm(location as PcmLocation)
    writeFileSync(path, wav(STEREO).subarray(0, 500))
    expect(refusalOf(() => audio.readInto(new Uint8Array(960), 0, 160)).code).toBe('MEDIA_FILE_CHANGED')
    audio.close()
  })

  test('a disk that is too small is refused before anything is written', () => {
    const { bavail, bsize } = statfsSync(folder)
    const frames = Math.ceil((bavail * bsize * 2) / 18)
    const out = join(folder, 'huge.wav')
    expect(refusalOf(() => createWav(out, planOf('5.1', frames))).code).toBe('MEDIA_DISK_FULL')
    expect(existsSync(out)).toBe(false)
  })

  test('a disk that becomes full while samples are written', () => {
    // /dev/full answers every write with ENOSPC.
    const location = { ...createWav(join(folder, 'template.wav'), planOf('5.1', 100)), path: '/dev/full' }
    const sink = openPcmSink(location)
    expect(refusalOf(() => sink.write(new Uint8Array(1800), 0)).code).toBe('MEDIA_DISK_FULL')
    sink.close()
  })

  test('a file whose length is not that of its plan is never sealed', () => {
    const out = join(folder, 'resized.wav')
    createWav(out, planOf('2.0', 100))
    writeFileSync(out, 'short')
    expect(() => sealWav(out, planOf('2.0', 100))).toThrow(/differs in length/)
  })

  test('sealing or filling a file that is gone', () => {
    const out = join(folder, 'gone.wav')
    const location = createWav(out, planOf('2.0', 100))
    rmSync(out)
    expect(refusalOf(() => sealWav(out, planOf('2.0', 100))).code).toBe('MEDIA_OUTPUT_FOLDER_MISSING')
    expect(refusalOf(() => openPcmSink(location)).code).toBe('MEDIA_OUTPUT_FOLDER_MISSING')
  })
})

function planOf(layout: LayoutName, frameCount: number): WavPlan {
  const format = { encoding: 'int24', channelCount: LAYOUTS[layout].length, sampleRateHz: 48000 } as const
  return { format, layout, frameCount, bext: null }
}

describe('checksums', () => {
  test('are those of sha256sum, and a source is left as it was', async () => {
    const bytes = wav(STEREO, Buffer.alloc(9_000_000, 0x5a))
    writeFileSync(path, bytes)
    const shares: number[] = []
    const sum = await sha256Of(path, { progress: (share) => shares.push(share) })
    expect(sum).toBe(run('sha256sum', path).toString().slice(0, 64))
    expect(shares.at(-1)).toBe(1)
    expect(readFileSync(path).equals(bytes)).toBe(true)
  })

  test('can be stopped, and a missing file is refused', async () => {
    const stopped = await sha256Of(path, { cancellation: { aborted: true } }).catch((error: unknown) => error)
    expect(stopped).toMatchObject({ name: 'Cancelled' })
    const missing = await sha256Of(join(folder, 'nothing.wav')).catch((error: unknown) => error)
    expect(missing).toMatchObject({ code: 'MEDIA_NOT_FOUND' })
  })

  test('no refusal shows a stack trace or a raw system message', () => {
    for (const at of [join(folder, 'nothing.wav'), folder]) {
      const { message, found, wanted, remedy } = refusalOf(() => probe(at))
      expect([message, found, wanted, remedy].join(' ')).not.toMatch(/ENOENT|EISDIR|node:|\bat \S+:\d+/)
    }
  })
})

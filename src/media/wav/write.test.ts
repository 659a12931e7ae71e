import { readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import { noisePcm, refusalOf, run, temporaryFolder } from '../../../test/testkit/wav.ts'
import { bytesPerFrame, LAYOUTS, type LayoutName, type PcmFormat, type SampleEncoding } from '../../domain/index.ts'
import { type Bext, createWav, openPcm, openPcmSink, type PcmLocation, probe, sealWav, type WavPlan } from '../index.ts'

const folder = temporaryFolder()

const BEXT: Bext = {
  description: 'Saltmarsh Lane 103',
  originator: 'plimsoll',
  originatorReference: 'saltmarsh-103',
  originationDate: '',
  originationTime: '',
  timeReferenceSamples: 172_800_000,
  umid: null,
  loudness: null,
  codingHistory: 'A=PCM,F=48000,W=24,T=plimsoll\r\n',
}
const LOUDNESS = {
  programmeLoudnessLkfs: -24.01,
  loudnessRangeLu: 11.8,
  maxTruePeakDbtp: -4.1,
  maxMomentaryLkfs: -13.9,
  maxShortTermLkfs: -17.2,
}

function planOf(encoding: SampleEncoding, layout: LayoutName, frameCount: number, bext: Bext | null = null): WavPlan {
  const format = { encoding, channelCount: LAYOUTS[layout].length, sampleRateHz: 48000 }
  return { format, layout, frameCount, bext }
}

function write(name: string, plan: WavPlan): { path: string; pcm: Buffer; location: PcmLocation } {
  const path = join(folder, name)
  const location = createWav(path, plan)
  const pcm = noisePcm(plan.format, plan.frameCount)
  const sink = openPcmSink(location)
  const frameBytes = bytesPerFrame(plan.format)
  const half = Math.floor(plan.frameCount / 2)
  sink.write(pcm.subarray(half * frameBytes), half)
  sink.write(pcm.subarray(0, half * frameBytes), 0)
  sink.close()
  return { path, pcm, location }
}

function readAll(location: PcmLocation): Buffer {
  const audio = openPcm(location)
  const bytes = Buffer.alloc(location.frameCount * bytesPerFrame(location.format))
  audio.readInto(bytes, 0, location.frameCount)
  audio.close()
  return bytes
}

const SAME_IN_FFMPEG: Readonly<Record<string, string>> = { int16: 's16le', int24: 's24le', float32: 'f32le' }

describe('what is written', () => {
  const layouts: LayoutName[] = ['mono', '2.0', '5.0', '5.1', '7.1']
  const encodings: SampleEncoding[] = ['int16', 'int24', 'float32']
  const cases = encodings.flatMap((encoding) => layouts.map((layout) => [encoding, layout] as const))

  test.each(cases)('%s %s is read again bit for bit, by us and by FFmpeg', (encoding, layout) => {
    // An odd number of frames of odd length makes the pad byte necessary.
    const plan = planOf(encoding, layout, 1001, BEXT)
    const { path, pcm } = write(`${encoding}-${layout}.wav`, plan)
    sealWav(path, plan)
    const found = probe(path)
    expect(found).toMatchObject({ container: 'RIFF', layout, frameCount: 1001, format: plan.format, findings: [] })
    expect(readAll(found.location as PcmLocation).equals(pcm)).toBe(true)
    expect(statSync(path).size % 2).toBe(0)

    const raw = run('ffmpeg', '-v', 'error', '-i', path, '-f', SAME_IN_FFMPEG[encoding] as string, '-')
    if (layout === '7.1') {
      // The rear pair stands before the side pair in the file (ascending mask bits).
      const frameBytes = bytesPerFrame(plan.format)
      const sample = frameBytes / 8
      expect(raw.subarray(4 * sample, 6 * sample).equals(pcm.subarray(6 * sample, 8 * sample))).toBe(true)
      expect(raw.subarray(6 * sample, 8 * sample).equals(pcm.subarray(4 * sample, 6 * sample))).toBe(true)
    } else expect(raw.equals(pcm)).toBe(true)
  })

  test.each([
    ['mono', 'mono'],
    ['2.0', 'stereo'],
    ['5.0', '5.0'],
    ['5.1', '5.1'],
    ['7.1', '7.1'],
  ] as const)('FFmpeg names the layout %s %s', (layout, name) => {
    const { path } = write(`named-${layout}.wav`, planOf('int24', layout, 10))
    const args = ['-v', 'error', '-show_entries', 'stream=channels,channel_layout', '-of', 'csv=p=0', path]
    // FFmpeg gives a plain stereo or mono header no layout name of its own.
    const expected = layout === 'mono' || layout === '2.0' ? [name, 'unknown'] : [name]
    const [, told] = run('ffprobe', ...args)
      .toString()
      .trim()
      .split(',')
    // FFmpeg tells back and side surrounds apart; 0x37 and 0x3F are the back pair.
    expect(expected).toContain(told)
  })

  test('libsndfile reads the form, the mask and bext version 2', () => {
    const plan = planOf('int24', '5.1', 4800, BEXT)
    const { path } = write('sndfile.wav', plan)
    sealWav(path, { ...plan, bext: { ...BEXT, loudness: LOUDNESS } })
    const told = run('sndfile-info', path).toString()
    expect(told).toMatch(/WAVE_FORMAT_EXTENSIBLE/)
    expect(told).toMatch(/Channel Mask\s*: 0x3F \(L, R, C, LFE, Ls, Rs\)/)
    expect(told).toMatch(/Frames\s*: 4800/)
    expect(told).not.toMatch(/\*\*\*/)
    const broadcast = run('sndfile-info', '--broadcast', path).toString()
    expect(broadcast).toMatch(/BWF version\s*: 2/)
    expect(broadcast).toMatch(/Time ref\s*: 0x00a4cb800 \(3600.000000 seconds\)/)
    expect(broadcast).toMatch(/Description\s*: Saltmarsh Lane 103/)
    expect(broadcast).toMatch(/Loudness value\s*: -24.01/)
    expect(broadcast).toMatch(/Loudness range\s*: {2}11.80/)
    expect(broadcast).toMatch(/Max. true peak level\s*: {2}-4.10/)
    expect(broadcast).toMatch(/Max. momentary loudness\s*: -13.90/)
    expect(broadcast).toMatch(/Max. short term loudness\s*: -17.20/)
  })

  test('sealing changes loudness in place and no other byte', () => {
    const plan = planOf('int24', '2.0', 500, BEXT)
    const { path } = write('sealed.wav', plan)
    const before = readFileSync(path)
    sealWav(path, { ...plan, bext: { ...BEXT, loudness: LOUDNESS } })
    const after = readFileSync(path)
    const changed = [...after.keys()].filter((at) => after[at] !== before[at])
    const bodyOffset = after.indexOf('bext') + 8
    expect(changed.length).toBeGreaterThan(0)
    expect(changed.every((at) => at >= bodyOffset + 412 && at < bodyOffset + 422)).toBe(true)
    expect(probe(path).bext).toEqual({ ...BEXT, loudness: LOUDNESS })
  })

  test('mono and stereo carry the plain fmt chunk, more channels WAVE_FORMAT_EXTENSIBLE', () => {
    const tagOf = (layout: LayoutName, encoding: SampleEncoding) => {
      const bytes = readFileSync(write(`tag-${encoding}-${layout}.wav`, planOf(encoding, layout, 3)).path)
      const at = bytes.indexOf('fmt ')
      return [bytes.readUInt32LE(at + 4), bytes.readUInt16LE(at + 8)]
    }
    expect(tagOf('mono', 'int24')).toEqual([16, 1])
    expect(tagOf('2.0', 'int16')).toEqual([16, 1])
    expect(tagOf('2.0', 'float32')).toEqual([18, 3])
    expect(tagOf('5.1', 'int24')).toEqual([40, 0xfffe])
  })

  test('the place of ds64 is kept by a JUNK chunk of 28 bytes (EBU Tech 3306)', () => {
    const bytes = readFileSync(write('junk.wav', planOf('int16', '2.0', 3)).path)
    expect(bytes.toString('latin1', 0, 4)).toBe('RIFF')
    expect(bytes.readUInt32LE(4)).toBe(bytes.length - 8)
    expect(bytes.toString('latin1', 12, 16)).toBe('JUNK')
    expect(bytes.readUInt32LE(16)).toBe(28)
  })
})

describe('beyond 4 GiB', () => {
  const format: PcmFormat = { encoding: 'int24', channelCount: 6, sampleRateHz: 48000 }
  // 90 minutes of 5.1: a sparse file, on the disk only where it is written.
  const frameCount = 90 * 60 * 48000
  const plan: WavPlan = { format, layout: '5.1', frameCount, bext: BEXT }

  test('RF64 is written and its last frame is read exactly', () => {
    const path = join(folder, 'long.wav')
    const location = createWav(path, plan)
    const last = Buffer.from('0102030405060708090a0b0c0d0e0f101112', 'hex')
    const sink = openPcmSink(location)
    sink.write(last, frameCount - 1)
    sink.close()
    sealWav(path, { ...plan, bext: { ...BEXT, loudness: LOUDNESS } })

    const bytes = statSync(path).size
    expect(bytes).toBe(location.dataByteOffset + frameCount * 18)
    expect(bytes).toBeGreaterThan(2 ** 32)
    const found = probe(path)
    expect(found).toMatchObject({ container: 'RF64', layout: '5.1', frameCount, location, findings: [] })
    const audio = openPcm(location)
    const two = Buffer.alloc(36)
    audio.readInto(two, frameCount - 2, 2)
    audio.close()
    expect(two.subarray(18).equals(last)).toBe(true)
    expect(two.subarray(0, 18).equals(Buffer.alloc(18))).toBe(true)

    // Outside readers: FFmpeg seeks to the last frame and counts, libsndfile finds its way through RF64.
    const start = ((frameCount - 1) / 48000).toFixed(6)
    const raw = run('ffmpeg', '-v', 'error', '-ss', start, '-i', path, '-f', 's24le', '-')
    expect(raw.equals(last)).toBe(true)
    const count = ['-v', 'error', '-show_entries', 'stream=duration_ts,channel_layout', '-of', 'csv=p=0', path]
    expect(
      run('ffprobe', ...count)
        .toString()
        .trim()
        .split(',')
        .sort(),
    ).toEqual([`${frameCount}`, '5.1'])
    const title = run('sndfile-metadata-get', '--bext-description', path).toString()
    expect(title).toMatch(/Saltmarsh Lane 103/)
  })

  test('the form changes exactly where a 32-bit size would not hold', () => {
    const mono: WavPlan = {
      format: { ...format, encoding: 'int16', channelCount: 1 },
      layout: 'mono',
      frameCount: 1,
      bext: null,
    }
    const header = createWav(join(folder, 'one.wav'), mono).dataByteOffset
    const fits = (0xfffffffe - (header - 8)) / 2
    createWav(join(folder, 'below.wav'), { ...mono, frameCount: fits })
    createWav(join(folder, 'above.wav'), { ...mono, frameCount: fits + 1 })
    expect(probe(join(folder, 'below.wav'))).toMatchObject({ container: 'RIFF', frameCount: fits, findings: [] })
    expect(probe(join(folder, 'above.wav'))).toMatchObject({ container: 'RF64', frameCount: fits + 1, findings: [] })
  })
})

describe('what is not written', () => {
  test('over a file that exists', () => {
    const path = join(folder, 'exists.wav')
    writeFileSync(path, 'a mix')
    expect(refusalOf(() => createWav(path, planOf('int24', '2.0', 10))).code).toBe('MEDIA_OUTPUT_EXISTS')
    expect(readFileSync(path, 'utf8')).toBe('a mix')
  })

  test('outside the programme', () => {
    const sink = openPcmSink(createWav(join(folder, 'inside.wav'), planOf('int16', '2.0', 10)))
    expect(() => sink.write(new Uint8Array(8), 9)).toThrow(/outside/)
    expect(() => sink.write(new Uint8Array(3), 0)).toThrow(/whole frames/)
    sink.close()
  })
})

import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import { noisePcm, run, temporaryFolder } from '../../../test/testkit/wav.ts'
import { bytesPerFrame, type PcmFormat, type SampleEncoding } from '../../domain/index.ts'
import { openPcm, openPcmSink, type PcmLocation, type Probe, probe } from '../index.ts'

const folder = temporaryFolder()
const FRAMES = 1001

function pcmOf({ location }: Probe): Buffer {
  if (location === null) throw new Error('no location')
  const audio = openPcm(location)
  const bytes = Buffer.alloc(location.frameCount * bytesPerFrame(location.format))
  audio.readInto(bytes, 0, location.frameCount)
  audio.close()
  return bytes
}

/** The name of raw PCM in FFmpeg. */
const RAW: Readonly<Record<SampleEncoding, string>> = {
  int16: 's16le',
  int24: 's24le',
  int32: 's32le',
  float32: 'f32le',
  float64: 'f64le',
}

function rawFile(format: PcmFormat): { path: string; pcm: Buffer } {
  const pcm = noisePcm(format, FRAMES)
  const path = join(folder, `${format.encoding}-${format.channelCount}.raw`)
  writeFileSync(path, pcm)
  return { path, pcm }
}

const formats: PcmFormat[] = (Object.keys(RAW) as SampleEncoding[]).flatMap((encoding) =>
  [1, 2, 6].map((channelCount) => ({ encoding, channelCount, sampleRateHz: 96000 })),
)

describe('files of outside writers are read bit for bit', () => {
  test.each(formats)('FFmpeg: $encoding, $channelCount channels', (format) => {
    const { path, pcm } = rawFile(format)
    const raw = RAW[format.encoding]
    const input = ['-f', raw, '-ar', '96000', '-ac', `${format.channelCount}`]
    const layout = format.channelCount === 6 ? ['-channel_layout', '5.1'] : []
    for (const form of ['never', 'always']) {
      const out = join(folder, `ffmpeg-${form}-${raw}-${format.channelCount}.wav`)
      const args = [...input, ...layout, '-i', path, '-c:a', `pcm_${raw}`, '-rf64', form, '-write_bext', '1']
      run('ffmpeg', '-v', 'error', '-y', ...args, '-metadata', 'description=Harbour Day', out)
      const found = probe(out)
      expect(found.container).toBe(form === 'always' ? 'RF64' : 'RIFF')
      expect(found).toMatchObject({ format, frameCount: FRAMES, findings: [], bext: { description: 'Harbour Day' } })
      expect(found.layout).toBe({ 1: 'mono', 2: '2.0', 6: '5.1' }[format.channelCount])
      expect(pcmOf(found).equals(pcm)).toBe(true)
    }
  })

  test.each(Object.entries(RAW))('%s in film order arrives as FFmpeg reorders it', (encoding, raw) => {
    const format: PcmFormat = { encoding: encoding as SampleEncoding, channelCount: 6, sampleRateHz: 48000 }
    const pcm = noisePcm(format, 120_000)
    const path = join(folder, 'film.raw')
    writeFileSync(path, pcm)
    const wav = join(folder, `film-${raw}.wav`)
    const input = ['-v', 'error', '-y', '-f', raw, '-ar', '48000', '-ac', '6', '-channel_layout', '5.1', '-i', path]
    run('ffmpeg', ...input, '-c:a', `pcm_${raw}`, wav)
    // L C R Ls Rs LFE to L R C LFE Ls Rs.
    const map = ['-af', 'channelmap=0|2|1|5|3|4:5.1']
    const theirs = run('ffmpeg', ...input, ...map, '-c:a', `pcm_${raw}`, '-f', raw, '-')
    const location = probe(wav, { order: 'film' }).location as PcmLocation
    const audio = openPcm(location)
    const ours = Buffer.alloc(pcm.length)
    audio.readInto(ours, 0, 120_000)
    audio.close()
    expect(ours.equals(theirs)).toBe(true)

    // The sink is the inverse: written in our order, the file is as it was.
    const copy = { ...location, path: join(folder, 'film-copy.raw'), dataByteOffset: 0 }
    writeFileSync(copy.path, '')
    const sink = openPcmSink(copy)
    sink.write(ours, 0)
    sink.close()
    expect(readFileSync(copy.path).equals(pcm)).toBe(true)
  })

  test('FFmpeg into a pipe: the size is not told', () => {
    const format: PcmFormat = { encoding: 'int24', channelCount: 2, sampleRateHz: 48000 }
    const { path, pcm } = rawFile(format)
    const piped = run(
      'ffmpeg',
      '-v',
      'error',
      '-f',
      's24le',
      '-ar',
      '48000',
      '-ac',
      '2',
      '-i',
      path,
      '-c:a',
      'pcm_s24le',
      '-f',
      'wav',
      '-',
    )
    const out = join(folder, 'piped.wav')
    writeFileSync(out, piped)
    const found = probe(out)
    expect(found.findings.map(({ id }) => id)).toEqual(['size-not-told'])
    expect(pcmOf(found).equals(pcm)).toBe(true)
  })

  test.each(['wav', 'wavpcm'])('SoX: type %s, 24 bit stereo and 5.1', (type) => {
    for (const channelCount of [2, 6]) {
      const { path, pcm } = rawFile({ encoding: 'int24', channelCount, sampleRateHz: 48000 })
      const out = join(folder, `sox-${type}-${channelCount}.wav`)
      const shape = ['-t', 'raw', '-e', 'signed', '-b', '24', '-c', `${channelCount}`, '-r', '48000']
      run('sox', '-D', ...shape, path, '-t', type, '-b', '24', out)
      const found = probe(out)
      expect(found.frameCount).toBe(FRAMES)
      expect(found.findings.filter(({ severity }) => severity !== 'note')).toEqual([])
      expect(pcmOf(found).equals(pcm)).toBe(true)
    }
  })

  test.each([
    ['-pcm16', 'int16'],
    ['-pcm24', 'int24'],
    ['-pcm32', 'int32'],
    ['-float32', 'float32'],
  ] as const)('libsndfile: %s as WAV and RF64', (option, encoding) => {
    const { path, pcm } = rawFile({ encoding, channelCount: 6, sampleRateHz: 48000 })
    const wav = join(folder, `source-${encoding}.wav`)
    const raw = RAW[encoding]
    run('ffmpeg', '-v', 'error', '-y', '-f', raw, '-ar', '48000', '-ac', '6', '-i', path, '-c:a', `pcm_${raw}`, wav)
    for (const extension of ['wav', 'rf64']) {
      const out = join(folder, `sndfile-${encoding}.${extension}`)
      run('sndfile-convert', '-override-sample-rate=48000', option, wav, out)
      const found = probe(out)
      expect(found).toMatchObject({ format: { encoding, channelCount: 6, sampleRateHz: 48000 }, frameCount: FRAMES })
      expect(found.findings.filter(({ severity }) => severity === 'fail')).toEqual([])
      expect(pcmOf(found).equals(pcm)).toBe(true)
    }
  })

  test('libsndfile: bext version 2 with loudness', () => {
    const { path } = rawFile({ encoding: 'int24', channelCount: 2, sampleRateHz: 48000 })
    const wav = join(folder, 'plain.wav')
    run('ffmpeg', '-v', 'error', '-y', '-f', 's24le', '-ar', '48000', '-ac', '2', '-i', path, '-c:a', 'pcm_s24le', wav)
    const out = join(folder, 'sndfile-bext.wav')
    const figures = ['loudness-value', '-24.0', 'loudness-range', '7.5', 'max-truepeak', '-2.1']
    const more = ['max-momentary', '-15.3', 'max-shortterm', '-18.2', 'time-ref', '172800000', 'description', 'Harbour']
    const options = [...figures, ...more].map((word, index) => (index % 2 === 0 ? `--bext-${word}` : word))
    run('sndfile-metadata-set', ...options, wav, out)
    expect(probe(out).bext).toMatchObject({
      description: 'Harbour',
      timeReferenceSamples: 172_800_000,
      loudness: {
        programmeLoudnessLkfs: -24,
        loudnessRangeLu: 7.5,
        maxTruePeakDbtp: -2.1,
        maxMomentaryLkfs: -15.3,
        maxShortTermLkfs: -18.2,
      },
    })
  })
})

import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { run, temporaryFolder } from '../../../test/testkit/wav.ts'
import {
  type Clock,
  clockFromLabel,
  type FrameRateName,
  formatLabel,
  type Passage,
  parseLabel,
  pictureAt,
} from '../../domain/index.ts'
import {
  type ClockedProgramme,
  type MarkedProgramme,
  passagesCsv,
  passagesEdl,
  passagesOtio,
  passagesVtt,
} from './index.ts'

const folder = temporaryFolder()
const RATE = 48000

function passage(more: Partial<Passage> = {}): Passage {
  return {
    rank: 1,
    kind: 'too-loud',
    line: 'maxShortTermLkfs',
    startFrame: 12 * RATE,
    endFrame: 20 * RATE,
    peakFrame: 15 * RATE,
    measured: -16.25,
    allowed: -18,
    unit: 'LKFS',
    excess: 1.75,
    source: { document: 'EBU R 128', edition: '2023', clause: 's1, "short-form"', basis: 'read' },
    carriedBy: [
      { role: 'C', share: 0.6 },
      { role: 'L', share: 0.25 },
      { role: 'R', share: 0.15 },
    ],
    dialogueShare: 0.5,
    suggestedTrimDb: -1.8,
    effect: { programmeLoudnessBeforeLkfs: -22.4, programmeLoudnessAfterLkfs: -22.9, changeLu: -0.5 },
    marginalLuPerDb: 0.271,
    message: 'Short-term loudness is \u221216.3 LKFS; trim it by 1.8 dB.',
    ...more,
  }
}

const QUIET = passage({
  rank: 2,
  kind: 'too-soft',
  line: 'dialogueLevel',
  startFrame: 2 * RATE + 100,
  endFrame: 4 * RATE,
  peakFrame: 3 * RATE,
  measured: -34,
  allowed: [-30, -20],
  excess: 4,
  dialogueShare: null,
  suggestedTrimDb: null,
  effect: null,
  marginalLuPerDb: null,
})

function programme(clock: Clock | null, passages: readonly Passage[] = [passage(), QUIET]): MarkedProgramme {
  return {
    fileName: 'saltmarsh-lane-103.wav',
    channelCount: 6,
    sampleRateHz: RATE,
    frameCount: 60 * RATE,
    clock,
    passages,
  }
}

function clockAt(rate: FrameRateName, dropFrame: boolean, label: string): Clock {
  const format = { rate, dropFrame }
  return clockFromLabel(format, parseLabel(label, format) as number, RATE)
}

const PAL = clockAt('25', false, '10:00:00:00')
const clocked = (clock: Clock, passages?: readonly Passage[]) => programme(clock, passages) as ClockedProgramme

/** Writes a text and lets a reader in Python, which shares nothing with the program, say what is in it. */
function readBack(kind: 'csv' | 'edl' | 'otio', text: string) {
  const path = join(folder, `export.${kind}`)
  writeFileSync(path, text)
  return JSON.parse(run('/usr/bin/python3', 'test/peers/passage-readers.py', kind, path).toString())
}

describe('CSV', () => {
  test('Python reads every passage back, in the order of rank', () => {
    const [first, second] = readBack('csv', passagesCsv(programme(PAL)))
    expect(first).toEqual({
      rank: '1',
      kind: 'too-loud',
      line: 'maxShortTermLkfs',
      startTimecode: '10:00:12:00',
      endTimecode: '10:00:20:00',
      peakTimecode: '10:00:15:00',
      startSeconds: '12.000000',
      endSeconds: '20.000000',
      startFrame: '576000',
      endFrame: '960000',
      measured: '-16.25',
      allowedLow: '',
      allowedHigh: '-18',
      unit: 'LKFS',
      excess: '1.75',
      carriedBy: 'C 0.600 L 0.250 R 0.150',
      dialogueShare: '0.500',
      suggestedTrimDb: '-1.80',
      programmeLoudnessBeforeLkfs: '-22.400',
      programmeLoudnessAfterLkfs: '-22.900',
      changeLu: '-0.500',
      marginalLuPerDb: '0.2710',
      message: 'Short-term loudness is \u221216.3 LKFS; trim it by 1.8 dB.',
      source: 'EBU R 128 2023, s1, "short-form"',
    })
    expect(second).toMatchObject({
      rank: '2',
      startTimecode: '10:00:02:00',
      allowedLow: '-30',
      allowedHigh: '-20',
      dialogueShare: '',
      suggestedTrimDb: '',
      changeLu: '',
    })
  })

  test('a programme without timecode has no labels, only seconds', () => {
    expect(readBack('csv', passagesCsv(programme(null)))[0]).toMatchObject({
      startTimecode: '',
      startSeconds: '12.000000',
    })
  })

  test('any text comes back as it was, but for control characters', () => {
    const text = fc.string({ unit: fc.constantFrom('a', ',', '"', '\n', '\r', '\r\n', '\t', ' ', 'é', '\u2212') })
    const texts = fc.sample(text, { numRuns: 300, seed: 1 })
    const rows = readBack(
      'csv',
      passagesCsv(
        programme(
          PAL,
          texts.map((message) => passage({ message })),
        ),
      ),
    )
    expect(rows.map((row: Record<string, string>) => row['message'])).toEqual(texts)
    const [row] = readBack('csv', passagesCsv(programme(PAL, [passage({ message: 'a\0b\x1b[31mc\x85d' })])))
    expect(row.message).toBe('a b [31mc d')
  })

  test('lines end in CRLF, also the last (RFC 4180)', () => {
    expect(passagesCsv(programme(PAL)).match(/\r\n/g)).toHaveLength(3)
    expect(passagesCsv(programme(PAL)).endsWith('\r\n')).toBe(true)
  })
})

describe('EDL', () => {
  test('one event over the programme, with the markers in the order of time', () => {
    const list = readBack('edl', passagesEdl(clocked(PAL)))
    expect(list).toEqual({
      title: 'saltmarsh-lane-103.wav',
      count: 'NON-DROP FRAME',
      comments: ['', '* FROM CLIP NAME: saltmarsh-lane-103.wav'],
      events: [
        {
          number: '001',
          reel: 'SALTMARS',
          track: 'AA',
          transition: 'C',
          sourceIn: '10:00:00:00',
          sourceOut: '10:01:00:00',
          recordIn: '10:00:00:00',
          recordOut: '10:01:00:00',
          markers: [
            { timecode: '10:00:02:00', colour: 'CYAN', text: 'Too soft: dialogue level 4.0 LU under' },
            { timecode: '10:00:12:00', colour: 'MAGENTA', text: 'Too loud: highest short-term 1.8 LU over' },
          ],
        },
      ],
    })
  })

  test('drop-frame is told and counted', () => {
    // 29.97 drop-frame: 60 s of real time are 1798.2 pictures, so 1799 are begun (SMPTE ST 12-1).
    const clock = clockAt('29.97', true, '00:59:00;02')
    const list = readBack('edl', passagesEdl(clocked(clock)))
    expect(list.count).toBe('DROP FRAME')
    expect(list.events[0]).toMatchObject({ sourceIn: '00:59:00;02', sourceOut: '01:00:00;01' })
    expect(list.events[0].markers[1].timecode).toBe('00:59:12;01')
  })

  test('a thousand passages are still one event', () => {
    const many = Array.from({ length: 1200 }, (_, index) => passage({ rank: index + 1, startFrame: index * 1920 }))
    const list = readBack('edl', passagesEdl(clocked(PAL, many)))
    expect(list.events).toHaveLength(1)
    expect(list.events[0].markers).toHaveLength(1200)
  })

  test.each([
    ['été du port.wav', 'ETEDUPOR', 'ete du port.wav'],
    ['---.wav', 'AX', '---.wav'],
    ['港.wav', 'AX', '?.wav'],
    ['x\n002  AX.wav', 'X002AX', 'x 002 AX.wav'],
  ])('the name %j becomes the reel %s', (fileName, reel, title) => {
    const list = readBack('edl', passagesEdl({ ...clocked(PAL), fileName }))
    expect(list).toMatchObject({ title, events: [{ reel }] })
  })

  test('a mono programme has one track', () => {
    expect(readBack('edl', passagesEdl({ ...clocked(PAL), channelCount: 1 })).events[0].track).toBe('A')
  })
})

test.each([
  [
    { kind: 'level-step', line: 'levelStep', measured: 1.5, excess: 1.5, unit: 'dB' },
    'Level step: everything 1.5 dB louder from in to out',
  ],
  [
    { kind: 'level-step', line: 'levelStep', measured: -2, excess: 2, unit: 'dB' },
    'Level step: everything 2.0 dB softer from in to out',
  ],
  [
    { kind: 'line-up-tone', line: 'lineUpTone', measured: -18, excess: 5, unit: 'LKFS' },
    'Line-up tone left in the programme',
  ],
  [{ kind: 'too-loud', line: 'maxTruePeakDbtp', excess: 0.42, unit: 'dBTP' }, 'Too loud: true peak 0.4 dB over'],
  [
    { kind: 'thinnest-margin', line: 'loudnessRangeLu', excess: -3, unit: 'LU' },
    'Thinnest margin: loudness range 3.0 LU left',
  ],
] as const)('a marker of %o is called %s', (more, name) => {
  const list = readBack('edl', passagesEdl(clocked(PAL, [passage(more)])))
  expect(list.events[0].markers[0].text).toBe(name)
})

describe('OpenTimelineIO', () => {
  const rational = (rate: number, value: number) => ({ OTIO_SCHEMA: 'RationalTime.1', rate, value })

  test('markers stand in timeline time, the clip in the time of its file', () => {
    const timeline = readBack('otio', passagesOtio(programme(PAL)))
    expect(timeline.global_start_time).toEqual(rational(25, 900000))
    const { markers, children } = timeline.tracks
    expect(markers.map(({ color }: { color: string }) => color)).toEqual(['CYAN', 'MAGENTA'])
    expect(markers[1].marked_range).toEqual({
      OTIO_SCHEMA: 'TimeRange.1',
      start_time: rational(25, 300),
      duration: rational(25, 200),
    })
    expect(markers[1]).toMatchObject({ comment: 'Short-term loudness is \u221216.3 LKFS; trim it by 1.8 dB.' })
    expect(markers[1].metadata.plimsoll).toMatchObject({ startFrame: 576000, startTimecode: '10:00:12:00' })
    expect(children[0]).toMatchObject({ OTIO_SCHEMA: 'Track.1', kind: 'Audio' })
    const [clip] = children[0].children
    const whole = { OTIO_SCHEMA: 'TimeRange.1', start_time: rational(25, 900000), duration: rational(25, 1500) }
    expect(clip.source_range).toEqual(whole)
    expect(clip.media_references[clip.active_media_reference_key]).toMatchObject({
      available_range: whole,
      target_url: 'saltmarsh-lane-103.wav',
    })
  })

  test.each([
    ['29.97', true, '01:00:00;00', 30000 / 1001, 107892],
    ['29.97', false, '01:00:00:00', 30000 / 1001, 108000],
    ['23.976', false, '01:00:00:00', 24000 / 1001, 86400],
  ] as const)('%s, drop-frame %s: %s', (rate, dropFrame, label, perSecond, value) => {
    const timeline = readBack('otio', passagesOtio(programme(clockAt(rate, dropFrame, label))))
    expect(timeline.global_start_time).toEqual(rational(perSecond, value))
  })

  test('without timecode, time counts in audio frames from 0', () => {
    const timeline = readBack('otio', passagesOtio(programme(null)))
    expect(timeline.global_start_time).toBeNull()
    expect(timeline.tracks.markers[0].marked_range.start_time).toEqual(rational(RATE, 2 * RATE + 100))
    expect(timeline.tracks.children[0].children[0].source_range.duration).toEqual(rational(RATE, 60 * RATE))
  })

  test('a name with spaces and signs is still an address', () => {
    const timeline = readBack('otio', passagesOtio({ ...programme(PAL), fileName: 'reel 1 & 2 #3.wav' }))
    const reference = timeline.tracks.children[0].children[0].media_references.DEFAULT_MEDIA
    expect(reference.target_url).toBe('reel%201%20%26%202%20%233.wav')
  })
})

describe('WebVTT', () => {
  /** The cues as FFmpeg's demuxer reads them. */
  function cuesByFfmpeg(text: string) {
    const path = join(folder, 'passages.vtt')
    writeFileSync(path, text)
    const shown = run(
      'ffprobe',
      '-v',
      'error',
      '-show_packets',
      '-show_entries',
      'packet=pts_time,duration_time',
      '-of',
      'json',
      path,
    )
    const texts = run('ffmpeg', '-v', 'error', '-i', path, '-f', 'srt', '-').toString().replaceAll('\r\n', '\n')
    return { packets: JSON.parse(shown.toString()).packets, texts }
  }

  test('FFmpeg reads times and text back', () => {
    const { packets, texts } = cuesByFfmpeg(passagesVtt(programme(PAL)))
    expect(packets).toMatchObject([
      { pts_time: '2.002000', duration_time: '1.998000' },
      { pts_time: '12.000000', duration_time: '8.000000' },
    ])
    expect(texts).toContain('00:00:12,000 --> 00:00:20,000\n10:00:12:00 to 10:00:20:00\nToo loud: highest short-term')
  })

  test('marks of the format inside a text are text', () => {
    const message = 'a --> b\n\n1\n00:00:00.000 --> 00:00:01.000\n<b>&c'
    const { packets, texts } = cuesByFfmpeg(passagesVtt(programme(null, [passage({ message })])))
    expect(packets).toHaveLength(1)
    expect(texts).toContain('a --> b 1 00:00:00.000 --> 00:00:01.000 <b>&c')
  })

  test('a passage of a few samples still lasts a millisecond', () => {
    const { packets } = cuesByFfmpeg(passagesVtt(programme(null, [passage({ startFrame: 48, endFrame: 49 })])))
    expect(packets).toMatchObject([{ pts_time: '0.001000', duration_time: '0.001000' }])
  })

  test('no passages at all are still a file of the format', () => {
    expect(cuesByFfmpeg(passagesVtt(programme(null, []))).packets).toEqual([])
  })
})

test('markers of every format stand at the same picture', () => {
  for (const [rate, dropFrame] of [
    ['29.97', true],
    ['59.94', true],
    ['23.976', false],
    ['50', false],
  ] as const) {
    const clock = clockAt(rate, dropFrame, dropFrame ? '09:59:58;00' : '09:59:58:00')
    const starts = [0, 1601, 1602, 96000, 2 * RATE + 8007]
    const passages = starts.map((startFrame, index) =>
      passage({ rank: index + 1, startFrame, endFrame: startFrame + 4800 }),
    )
    const edl = readBack('edl', passagesEdl(clocked(clock, passages))).events[0].markers
    const otio = readBack('otio', passagesOtio(programme(clock, passages))).tracks.markers
    const csv = readBack('csv', passagesCsv(programme(clock, passages)))
    starts.forEach((startFrame, index) => {
      const label = formatLabel(clock.format, clock.startPicture + pictureAt(clock, startFrame))
      expect(edl[index].timecode).toBe(label)
      expect(csv[index].startTimecode).toBe(label)
      expect(otio[index].marked_range.start_time.value).toBe(pictureAt(clock, startFrame))
    })
  }
})

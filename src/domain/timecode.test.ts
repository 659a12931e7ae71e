import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  type Clock,
  clockFromLabel,
  clockFromSamples,
  FRAME_RATE_NAMES,
  formatLabel,
  frameAt,
  frameOfPicture,
  frameRateFraction,
  frameRateNamed,
  labelAt,
  parseLabel,
  pictureAt,
  picturesPerDay,
  printInstant,
  readInstant,
  readInstantBeside,
  type TimecodeFormat,
  timecodeFormat,
} from './timecode.ts'

const DF_2997: TimecodeFormat = { rate: '29.97', dropFrame: true }
const DF_5994: TimecodeFormat = { rate: '59.94', dropFrame: true }
const PAL: TimecodeFormat = { rate: '25', dropFrame: false }
const FORMATS: readonly TimecodeFormat[] = [
  ...FRAME_RATE_NAMES.map((rate) => ({ rate, dropFrame: false })),
  DF_2997,
  DF_5994,
]

/** The nominal rate, as SMPTE ST 12-1 counts it. */
const BASE = { '23.976': 24, '24': 24, '25': 25, '29.97': 30, '30': 30, '48': 48, '50': 50, '59.94': 60, '60': 60 }

// SMPTE ST 12-1: two (at 59.94 four) labels are dropped at the start of every minute but each tenth; values computed
// from that sentence.
describe('drop-frame labels', () => {
  test.each([
    [DF_2997, 0, '00:00:00;00'],
    [DF_2997, 1799, '00:00:59;29'],
    [DF_2997, 1800, '00:01:00;02'],
    [DF_2997, 3597, '00:01:59;29'],
    [DF_2997, 3598, '00:02:00;02'],
    [DF_2997, 17981, '00:09:59;29'],
    [DF_2997, 17982, '00:10:00;00'],
    [DF_2997, 19781, '00:10:59;29'],
    [DF_2997, 19782, '00:11:00;02'],
    [DF_2997, 53945, '00:29:59;29'],
    [DF_2997, 107891, '00:59:59;29'],
    [DF_2997, 107892, '01:00:00;00'],
    [DF_2997, 215784, '02:00:00;00'],
    [DF_2997, 2589407, '23:59:59;29'],
    [DF_5994, 3599, '00:00:59;59'],
    [DF_5994, 3600, '00:01:00;04'],
    [DF_5994, 35963, '00:09:59;59'],
    [DF_5994, 35964, '00:10:00;00'],
    [DF_5994, 215784, '01:00:00;00'],
  ] as const)('%o: picture %d is %s', (format, picture, label) => {
    expect(formatLabel(format, picture)).toBe(label)
    expect(parseLabel(label, format)).toBe(picture)
  })

  test.each([
    [DF_2997, 2589408],
    [DF_5994, 2 * 2589408],
    [PAL, 2160000],
  ])('%o: a day has %d pictures and begins again', (format, count) => {
    expect(picturesPerDay(format)).toBe(count)
    expect(formatLabel(format, count)).toBe(formatLabel(format, 0))
    expect(formatLabel(format, -1)).toBe(formatLabel(format, count - 1))
  })

  test.each([
    ['00:01:00;00', '00:01:00;02'],
    ['00:01:00;01', '00:01:00;02'],
    ['01:11:00;00', '01:11:00;02'],
    ['01:11:00:00', '01:11:00;02'],
  ])('%s does not exist at 29.97; the nearest is %s', (label, nearest) => {
    expect(parseLabel(label, DF_2997)).toMatchObject({ found: `"${label}"`, nearest })
  })

  test.each(['00:01:00;03', '00:01:00;00'])('%s does not exist at 59.94', (label) => {
    expect(parseLabel(label, DF_5994)).toMatchObject({ nearest: '00:01:00;04' })
  })

  test('walking a whole day label by label drops nothing else', () => {
    let expected = 0
    for (let label = 0; label < 24 * 3600 * 30; label++) {
      const minute = Math.floor(label / 1800)
      const [second, picture] = [Math.floor(label / 30) % 60, label % 30]
      if (minute % 10 !== 0 && second === 0 && picture < 2) continue
      const two = (n: number) => String(n).padStart(2, '0')
      const text = `${two(Math.floor(minute / 60))}:${two(minute % 60)}:${two(second)};${two(picture)}`
      if (formatLabel(DF_2997, expected) !== text) throw new Error(`${expected} is not ${text}`)
      expected++
    }
    expect(expected).toBe(2589408)
  })
})

test.each(FORMATS)('%o: label and picture lead to each other, anywhere in the day', (format) => {
  fc.assert(
    fc.property(fc.integer({ min: 0, max: picturesPerDay(format) - 1 }), (picture) => {
      expect(parseLabel(formatLabel(format, picture), format)).toBe(picture)
    }),
    { numRuns: 300 },
  )
})

// Audio frames a picture: the sample rate divided by the picture rate, exact fractions.
test.each([
  ['23.976', 48000, 2002, 1],
  ['23.976', 96000, 4004, 1],
  ['24', 48000, 2000, 1],
  ['25', 48000, 1920, 1],
  ['29.97', 48000, 8008, 5],
  ['29.97', 96000, 16016, 5],
  ['30', 48000, 1600, 1],
  ['48', 48000, 1000, 1],
  ['50', 48000, 960, 1],
  ['59.94', 48000, 4004, 5],
  ['60', 48000, 800, 1],
] as const)('%s at %d Hz: %d audio frames in %d pictures', (rate, sampleRateHz, audioFrames, pictures) => {
  const clock = clockFromLabel({ rate, dropFrame: false }, 0, sampleRateHz)
  for (const cycle of [1, 100000]) {
    expect(frameOfPicture(clock, pictures * cycle)).toBe(audioFrames * cycle)
    expect(pictureAt(clock, audioFrames * cycle)).toBe(pictures * cycle)
    expect(pictureAt(clock, audioFrames * cycle - 1)).toBe(pictures * cycle - 1)
  }
})

test('an hour of labels in real time: 3603.6 s without drop-frame, 3599.9964 s with it', () => {
  const hour = (format: TimecodeFormat) =>
    frameAt(clockFromLabel(format, 0, 48000), format.dropFrame ? '01:00:00;00' : '01:00:00:00')
  expect(hour({ rate: '29.97', dropFrame: false })).toBe(172972800)
  expect(hour({ rate: '23.976', dropFrame: false })).toBe(172972800)
  expect(hour(DF_2997)).toBe(Math.ceil(863999136 / 5))
})

test('instants and labels lead to each other for every format, rate and start', () => {
  fc.assert(
    fc.property(
      fc.constantFrom(...FORMATS),
      fc.constantFrom(44100, 48000, 96000, 192000),
      fc.integer({ min: 0, max: 192000 * 86400 }),
      fc.integer({ min: 0, max: 192000 * 7200 }),
      (format, sampleRateHz, sinceMidnight, frameIndex) => {
        const clock = clockFromSamples(format, sinceMidnight, sampleRateHz)
        const label = labelAt(clock, frameIndex)
        const first = frameAt(clock, label) as number
        const { numerator, denominator } = frameRateFraction(format.rate)
        expect(first).toBeLessThanOrEqual(frameIndex)
        expect(frameIndex - first).toBeLessThan((sampleRateHz * denominator) / numerator)
        expect(labelAt(clock, first)).toBe(label)
        if (first > 0) expect(labelAt(clock, first - 1)).not.toBe(label)
      },
    ),
    { numRuns: 2000 },
  )
})

test('a start that is not on the border of a picture is kept to the sample', () => {
  // 10:00:00:00 at 25 and half a picture more (EBU Tech 3285: TimeReference counts samples since midnight).
  const clock = clockFromSamples(PAL, 36000 * 48000 + 960, 48000)
  expect(labelAt(clock, 0)).toBe('10:00:00:00')
  expect(labelAt(clock, 959)).toBe('10:00:00:00')
  expect(labelAt(clock, 960)).toBe('10:00:00:01')
  expect(frameAt(clock, '10:00:00:01')).toBe(960)
  expect(frameAt(clock, '10:00:00:00')).toBe(0)
})

test('a programme runs over midnight', () => {
  const clock = clockFromLabel(PAL, parseLabel('23:59:59:24', PAL) as number, 48000)
  expect(labelAt(clock, 1919)).toBe('23:59:59:24')
  expect(labelAt(clock, 1920)).toBe('00:00:00:00')
  expect(frameAt(clock, '00:00:01:00')).toBe(26 * 1920)
})

test.each([
  ['10:00:00:25', 'frames from 00 to 24', '10:00:01:00'],
  ['10:60:00:00', 'minutes from 00 to 59', '11:00:00:00'],
  ['10:00:60:00', 'seconds from 00 to 59', '10:01:00:00'],
  ['24:00:00:00', 'hours from 00 to 23', '00:00:00:00'],
  ['10:00:00;00', '25 frames a second as in 10:00:00:00', '10:00:00:00'],
  ['10:00:00', 'hours, minutes, seconds and frames as in 10:00:00:00', null],
  ['', 'hours, minutes, seconds and frames as in 10:00:00:00', null],
  ['ten o’clock', 'hours, minutes, seconds and frames as in 10:00:00:00', null],
  ['-1:00:00:00', 'hours, minutes, seconds and frames as in 10:00:00:00', null],
  ['10:00:00:00.5', 'hours, minutes, seconds and frames as in 10:00:00:00', null],
])('%s is no label at 25', (label, wanted, nearest) => {
  expect(parseLabel(label, PAL)).toEqual({ found: expect.stringContaining(`"${label}"`), wanted, nearest })
})

test('a nearest label exists itself, whatever the fields were', () => {
  const field = fc.integer({ min: 0, max: 99 })
  fc.assert(
    fc.property(fc.constantFrom(...FORMATS), field, field, field, field, (format, ...fields) => {
      const answer = parseLabel(fields.join(':'), format)
      if (typeof answer === 'number') return
      expect(typeof parseLabel(answer.nearest as string, format)).toBe('number')
    }),
    { numRuns: 2000 },
  )
})

test.each([
  ['25', '25'],
  ['25/1', '25'],
  ['30000/1001', '29.97'],
  ['24000/1001', '23.976'],
  ['23.98', '23.976'],
  ['29.970', '29.97'],
  ['60000/1001', '59.94'],
  [' 50 ', '50'],
  ['26', null],
  ['0', null],
  ['25/0', null],
  ['pal', null],
  ['', null],
])('the rate "%s" is %s', (text, name) => {
  expect(frameRateNamed(text)).toBe(name)
})

test('drop-frame is defined for 29.97 and 59.94 only', () => {
  for (const rate of FRAME_RATE_NAMES) {
    const isDefined = rate === '29.97' || rate === '59.94'
    expect('rate' in timecodeFormat(rate, true), rate).toBe(isDefined)
    expect(timecodeFormat(rate, false)).toEqual({ rate, dropFrame: false })
  }
  expect(timecodeFormat('25', true)).toMatchObject({ found: 'drop-frame at 25', nearest: '25 without drop-frame' })
  expect(timecodeFormat('26', false)).toMatchObject({ found: 'a frame rate of "26"', nearest: '25' })
})

test('every rate counts as many labels a second as its name says', () => {
  for (const rate of FRAME_RATE_NAMES) {
    expect(formatLabel({ rate, dropFrame: false }, BASE[rate] - 1)).toBe(`00:00:00:${BASE[rate] - 1}`)
    expect(formatLabel({ rate, dropFrame: false }, BASE[rate])).toBe('00:00:01:00')
  }
})

test('a programme without timecode is told and read in time from its first frame', () => {
  expect(printInstant(null, 48000 * 723.5, 48000)).toBe('0:12:03.500')
  expect(readInstant(null, '0:12:03.500', 48000)).toBe(48000 * 723.5)
  expect(readInstant(null, '0:12:03.5', 44100)).toBe(44100 * 723.5)
  expect(readInstant(null, '1:00:00', 48000)).toBe(48000 * 3600)
  expect(readInstant(null, '0:60:00', 48000)).toMatchObject({ nearest: '1:00:00.000' })
  expect(readInstant(null, '12 min', 48000)).toMatchObject({ found: '"12 min"' })
  const clock: Clock = clockFromLabel(PAL, 25 * 36000, 48000)
  expect(printInstant(clock, 1920, 48000)).toBe('10:00:00:01')
  expect(readInstant(clock, '10:00:00:01', 48000)).toBe(1920)
})

test('a place beside the programme is read before it too: a leader of 30 s, a label past midnight, and drop-frame', () => {
  const clock: Clock = clockFromLabel(PAL, 25 * 36000, 48000)
  expect(readInstantBeside(clock, '10:00:00:01', 48000)).toBe(1920)
  expect(readInstantBeside(clock, '09:59:30:00', 48000)).toBe(-30 * 48000)
  const late: Clock = clockFromLabel(PAL, 25 * (24 * 3600 - 10), 48000)
  expect(readInstantBeside(late, '00:00:05:00', 48000)).toBe(15 * 48000)
  // SMPTE ST 12-1: 59 s of labels and the two that are skipped: 1798 pictures of 1001 / 30000 s.
  const dropping: Clock = clockFromLabel({ rate: '29.97', dropFrame: true }, 1798, 48000)
  expect(formatLabel(dropping.format, 1798)).toBe('00:00:59;28')
  expect(readInstantBeside(dropping, '00:00:00;00', 48000)).toBe(-Math.floor((1798 * 1001 * 48000) / 30000))
  expect(readInstantBeside(null, '-0:00:30.5', 48000)).toBe(-30.5 * 48000)
  expect(readInstantBeside(null, '0:00:02', 48000)).toBe(96000)
  expect(readInstantBeside(null, 'soon', 48000)).toMatchObject({ found: '"soon"' })
  expect(readInstantBeside(clock, 'soon', 48000)).toHaveProperty('wanted')
})

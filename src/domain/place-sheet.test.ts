import { describe, expect, test } from 'vitest'
import { type FileProblem, placeSheet } from './place-sheet.ts'
import type { Sheet, SheetLock, SheetScene, SheetSegment, SheetTrim } from './sheet.ts'
import { type Clock, clockFromLabel, parseLabel, type TimecodeFormat } from './timecode.ts'

const RATE_HZ = 48000

function clockAt(start: string, format: TimecodeFormat = { rate: '25', dropFrame: false }): Clock {
  return clockFromLabel(format, parseLabel(start, format) as number, RATE_HZ)
}

/** A minute that starts at 10:00:00:00. */
const MINUTE = { clock: clockAt('10:00:00:00'), sampleRateHz: RATE_HZ, frameCount: 60 * RATE_HZ }

function segment(from: string, to: string, kind: SheetSegment['kind'] = 'programme'): SheetSegment {
  return { kind, name: null, from, to }
}

function trim(from: string, to: string, gainDb = -2): SheetTrim {
  return { from, to, gainDb, glideMs: 100, reason: null }
}

function sheet(
  segments: readonly SheetSegment[],
  trims: readonly SheetTrim[] = [],
  locks: readonly SheetLock[] = [],
  scenes: readonly SheetScene[] = [],
): Pick<Sheet, 'segments' | 'fit' | 'upmix'> {
  return { segments, fit: { settings: {}, trims, locks }, upmix: { start: null, settings: {}, scenes } }
}

function problemsOf(...of: Parameters<typeof placeSheet>): readonly FileProblem[] {
  const placed = placeSheet(...of)
  if (!Array.isArray(placed)) throw new Error('the sheet was placed')
  return placed as readonly FileProblem[]
}

describe('times on frames', () => {
  test('labels count from the start of the programme, [from, to)', () => {
    const placed = placeSheet(
      sheet([segment('10:00:02:00', '10:00:10:12')], [trim('10:00:03:00', '10:00:04:01')]),
      MINUTE,
    )
    expect(placed).toEqual({
      pictureFrame: 0,
      segments: [{ kind: 'programme', name: null, startFrame: 96_000, endFrame: 503_040 }],
      trims: [{ startFrame: 144_000, endFrame: 193_920, gainDb: -2, glideMs: 100, reason: null }],
      gains: [{ startFrame: 144_000, endFrame: 193_920, gainDb: -2, glideMs: 100, reason: null }],
      limits: [],
      locks: [],
      scenes: [],
    })
  })

  test('a picture may begin before the programme; a label that does not exist is named', () => {
    const under = (from: string) => placeSheet({ ...sheet([]), picture: { from } }, MINUTE)
    expect(under('09:59:52:00')).toMatchObject({ pictureFrame: -8 * RATE_HZ })
    expect(under('09:59:52:25')).toMatchObject([{ path: 'picture.from' }])
  })

  test('without timecode, hours, minutes and seconds from the first frame', () => {
    const placed = placeSheet(sheet([], [trim('0:00:01.500', '0:00:02')]), { ...MINUTE, clock: null })
    expect(placed).toMatchObject({ trims: [{ startFrame: 72_000, endFrame: 96_000 }] })
  })

  // SMPTE ST 12-1: one minute of 29.97 drop-frame from an hour ends at ;02, and 01:01:00;00 does not exist.
  test('drop-frame: the labels that are skipped are refused with the one that follows', () => {
    const format = { rate: '29.97', dropFrame: true } as const
    const ground = { clock: clockAt('01:00:00;00', format), sampleRateHz: RATE_HZ, frameCount: 70 * RATE_HZ }
    const [problem] = problemsOf(sheet([segment('01:00:00;00', '01:01:00;00')]), ground)
    expect(problem).toMatchObject({ path: 'segments.0.to', found: '"01:01:00;00"', nearest: '01:01:00;02' })
    expect(placeSheet(sheet([segment('01:00:00;00', '01:01:00;02')]), ground)).toMatchObject({
      segments: [{ startFrame: 0, endFrame: 2_882_880 }],
    })
  })

  test('the label behind the last picture means the end of the file', () => {
    const ground = { ...MINUTE, frameCount: 60 * RATE_HZ - 700 }
    const placed = placeSheet(sheet([segment('10:00:00:00', '10:01:00:00')]), ground)
    expect(placed).toMatchObject({ segments: [{ endFrame: ground.frameCount }] })
    const [problem] = problemsOf(sheet([segment('10:00:00:00', '10:01:00:01')]), ground)
    expect(problem).toMatchObject({ path: 'segments.0.to', nearest: '10:01:00:00' })
  })
})

describe('what cannot be laid on the frames is told with its place and the nearest time', () => {
  test.each([
    ['a label that is none', [segment('10:00:00:25', '10:00:20:00')], 'segments.0.from', '10:00:01:00'],
    ['a time where labels count', [segment('0:00:00.000', '10:00:20:00')], 'segments.0.from', null],
    ['before the programme', [segment('09:59:59:24', '10:00:20:00')], 'segments.0.from', '10:00:00:00'],
    ['behind the programme', [segment('10:00:00:00', '10:02:00:00')], 'segments.0.to', '10:01:00:00'],
    ['backwards', [segment('10:00:20:00', '10:00:10:00')], 'segments.0.to', null],
    ['of no length', [segment('10:00:20:00', '10:00:20:00')], 'segments.0.to', null],
    [
      'over another',
      [segment('10:00:10:00', '10:00:30:00'), segment('10:00:00:00', '10:00:10:01', 'tone')],
      'segments.0.from',
      '10:00:10:01',
    ],
    ['a map without programme', [segment('10:00:00:00', '10:00:30:00', 'tone')], 'segments', null],
  ])('%s', (_, segments, path, nearest) => {
    expect(problemsOf(sheet(segments), MINUTE)).toEqual([
      { path, found: expect.any(String), needed: expect.any(String), nearest },
    ])
  })

  test('trims and locks outside the programme, or over two segments', () => {
    const map = [
      segment('10:00:00:00', '10:00:10:00', 'tone'),
      segment('10:00:10:00', '10:00:30:00'),
      segment('10:00:30:00', '10:01:00:00'),
    ]
    const lock = { from: '10:00:05:00', to: '10:00:12:00', toleranceDb: 0 }
    const problems = problemsOf(sheet(map, [trim('10:00:29:00', '10:00:31:00')], [lock]), MINUTE)
    expect(problems.map(({ path, nearest }) => [path, nearest])).toEqual([
      ['fit.trims.0', '10:00:10:00 to 10:00:30:00'],
      ['fit.locks.0', '10:00:10:00 to 10:00:30:00'],
    ])
  })

  test('scenes in order; one over another, or outside the programme', () => {
    const scene = (from: string, to: string): SheetScene => {
      return { from, to, name: null, reason: null, glideInMs: 500, glideOutMs: 2000, settings: { ambienceShare: 1.2 } }
    }
    const scenes = [scene('10:00:20:00', '10:00:30:00'), scene('10:00:10:00', '10:00:20:00')]
    expect(placeSheet(sheet([], [], [], scenes), MINUTE)).toMatchObject({
      scenes: [
        { startFrame: 480_000, endFrame: 960_000, glideInMs: 500, settings: { ambienceShare: 1.2 } },
        { startFrame: 960_000, endFrame: 1_440_000, glideOutMs: 2000 },
      ],
    })
    const over = [scene('10:00:10:00', '10:00:20:01'), scene('10:00:20:00', '10:00:30:00')]
    expect(problemsOf(sheet([], [], [], over), MINUTE)).toMatchObject([
      { path: 'upmix.scenes.1.from', nearest: '10:00:20:01' },
    ])
    const map = [segment('10:00:10:00', '10:00:30:00')]
    expect(problemsOf(sheet(map, [], [], [scene('10:00:05:00', '10:00:15:00')]), MINUTE)).toMatchObject([
      { path: 'upmix.scenes.0', nearest: '10:00:10:00 to 10:00:30:00' },
    ])
  })

  test('a trim that a lock forbids; one that it allows', () => {
    const lock = { from: '10:00:20:00', to: '10:00:30:00', toleranceDb: 2 }
    const over = problemsOf(sheet([], [trim('10:00:10:00', '10:00:21:00', -2.5)], [lock]), MINUTE)
    expect(over).toMatchObject([{ path: 'fit.trims.0.gainDb', nearest: 'a trim that ends at 10:00:20:00' }])
    expect(placeSheet(sheet([], [trim('10:00:10:00', '10:00:21:00', -2)], [lock]), MINUTE)).toMatchObject({
      locks: [{ startFrame: 960_000, endFrame: 1_440_000, toleranceDb: 2 }],
    })
  })

  test('every problem is told at once', () => {
    expect(problemsOf(sheet([], [trim('x', 'y'), trim('10:00:05:00', '10:00:04:00')]), MINUTE)).toHaveLength(3)
  })
})

describe('hand rides and limits', () => {
  const placedWith = (fit: Partial<Sheet['fit']>) => {
    const base = sheet([])
    return placeSheet({ ...base, fit: { ...base.fit, ...fit } }, { ...MINUTE, clock: null })
  }
  const drawn = (...points: [string, number][]) => ({
    from: '0:00:10',
    to: '0:00:20',
    points: points.map(([at, gainDb]) => ({ at, gainDb })),
    reason: null,
  })

  test('are laid on frames, and a hand ride counts among the gains', () => {
    const handRides = [drawn(['0:00:10', 0], ['0:00:15.500', -6])]
    const limits = [{ from: '0:00:30', to: '0:00:40', lowestDb: -6, highestDb: -2 }]
    expect(placedWith({ handRides, limits })).toMatchObject({
      trims: [],
      gains: [
        {
          startFrame: 480_000,
          endFrame: 960_000,
          points: [
            { frame: 480_000, gainDb: 0 },
            { frame: 744_000, gainDb: -6 },
          ],
        },
      ],
      limits: [{ startFrame: 1_440_000, endFrame: 1_920_000, lowestDb: -6, highestDb: -2 }],
    })
  })

  test.each([
    ['a point outside', [drawn(['0:00:09', 0])], 'fit.handRides.0.points.0.at', /inside 0:00:10 to 0:00:20/],
    [
      'points that run backwards',
      [drawn(['0:00:15', 0], ['0:00:12', 1])],
      'fit.handRides.0.points.1.at',
      /order of time/,
    ],
    ['two rides over each other', [drawn(['0:00:15', 0]), drawn(['0:00:15', 0])], 'fit.handRides.1.from', /overlap/],
  ])('%s is refused', (_, handRides, path, needed) => {
    const problems = placedWith({ handRides }) as readonly FileProblem[]
    expect(problems[0]).toMatchObject({ path, needed: expect.stringMatching(needed) })
  })

  test('a hand ride that goes further than a lock allows is refused', () => {
    const locks = [{ from: '0:00:12', to: '0:00:14', toleranceDb: 2 }]
    const problems = placedWith({
      handRides: [drawn(['0:00:10', 1], ['0:00:15', -5])],
      locks,
    }) as readonly FileProblem[]
    expect(problems[0]).toMatchObject({ path: 'fit.handRides.0.points', found: expect.stringContaining('-5 dB') })
  })
})

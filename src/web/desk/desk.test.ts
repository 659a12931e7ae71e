import { describe, expect, test } from 'vitest'
import { clockFromLabel, placeSheet, type Sheet, type SheetGround } from '../../domain/index.ts'
import { deviationDb, referenceMonitorDb } from './calibration.ts'
import { decide, opened } from './decisions.ts'
import { trimOn, withLock, withoutLock, withoutTrim, withTrim, withTrimGain } from './edits.ts'
import { around, panned, rulerSeconds, within, zoomed } from './timeline/time-window.ts'

const empty: Sheet = {
  title: { id: 'harbour-day', name: 'Harbour Day', language: null, deliveredOn: null },
  timecode: { rate: '25', dropFrame: false, start: '10:00:00:00' },
  sources: [{ path: 'harbour-day.wav', layout: '5.1', kind: null, order: null, sha256: null }],
  segments: [],
  spec: null,
  upmix: { start: null, settings: {}, scenes: [] },
  fit: { settings: {}, trims: [], locks: [] },
  waivers: [],
  deliverables: [],
}
const RATE = 48000
const ground: SheetGround = {
  clock: clockFromLabel({ rate: '25', dropFrame: false }, 10 * 3600 * 25, RATE),
  sampleRateHz: RATE,
  frameCount: 600 * RATE,
}
const seconds = (from: number, to: number) => ({ startFrame: from * RATE, endFrame: to * RATE })
const placedOf = (sheet: Sheet) => {
  const placed = placeSheet(sheet, ground)
  if (!('trims' in placed)) throw new Error(JSON.stringify(placed))
  return placed
}
const trimsOf = (sheet: Sheet) => placedOf(sheet).trims
const put = (sheet: Sheet, from: number, to: number, gainDb: number) =>
  withTrim(sheet, ground, trimOn(seconds(from, to), gainDb, null), placedOf(sheet))
const lock = (sheet: Sheet, from: number, to: number, toleranceDb: number) =>
  withLock(sheet, ground, seconds(from, to), toleranceDb, placedOf(sheet))
const inSeconds = (sheet: Sheet) =>
  trimsOf(sheet).map(({ startFrame, endFrame, gainDb }) => [startFrame / RATE, endFrame / RATE, gainDb])

describe('trims', () => {
  test('are written as labels of the programme (SMPTE ST 12-1)', () => {
    const { trims } = put(empty, 60, 70, -2.5).fit
    expect(trims).toMatchObject([{ from: '10:01:00:00', to: '10:01:10:00', gainDb: -2.5 }])
  })

  test('never overlap: a new one takes the place of what was there, and cuts what reaches out of it', () => {
    const sheet = put(put(put(empty, 10, 20, -1), 30, 40, -2), 15, 35, -3)
    expect(inSeconds(sheet)).toEqual([
      [10, 15, -1],
      [15, 35, -3],
      [35, 40, -2],
    ])
  })

  test('move in tenths of a dB, between -24 and 12', () => {
    const sheet = put(empty, 10, 20, -1)
    expect(withTrimGain(sheet, 0, -2.348, placedOf(sheet)).fit.trims[0]!.gainDb).toBe(-2.3)
    expect(withTrimGain(sheet, 0, -80, placedOf(sheet)).fit.trims[0]!.gainDb).toBe(-24)
    expect(withTrimGain(sheet, 0, 80, placedOf(sheet)).fit.trims[0]!.gainDb).toBe(12)
    expect(withoutTrim(sheet, 0).fit.trims).toEqual([])
  })
})

describe('locks and trims never contradict each other', () => {
  test('a trim gives way to a lock that is put on it, and is held to a limit', () => {
    const trimmed = put(empty, 10, 30, -8.3)
    expect(inSeconds(lock(trimmed, 25, 40, 0))).toEqual([[10, 25, -8.3]])
    expect(inSeconds(lock(trimmed, 15, 20, 2))).toEqual([
      [10, 15, -8.3],
      [15, 20, -2],
      [20, 30, -8.3],
    ])
    expect(lock(put(empty, 10, 30, -1.5), 15, 20, 2).fit.trims).toHaveLength(1)
  })

  test('a trim goes round what is locked and no further than a limit; on nothing but locked it is none', () => {
    const locked = lock(lock(empty, 10, 20, 0), 30, 40, 2)
    expect(inSeconds(put(locked, 5, 45, -6))).toEqual([
      [5, 10, -6],
      [20, 30, -6],
      [30, 40, -2],
      [40, 45, -6],
    ])
    expect(put(locked, 12, 18, -6)).toBe(locked)
    const small = put(locked, 25, 45, 1)
    expect(inSeconds(small)).toEqual([[25, 45, 1]])
    expect(withTrimGain(small, 0, 7, placedOf(small)).fit.trims[0]!.gainDb).toBe(2)
  })

  test('a hand ride gives way to a lock', () => {
    const handRides = [
      { from: '10:00:10:00', to: '10:00:30:00', points: [{ at: '10:00:20:00', gainDb: -5 }], reason: null },
    ]
    const ridden = { ...empty, fit: { ...empty.fit, handRides } }
    const rides = placedOf(lock(ridden, 15, 20, 2)).gains
    expect(rides.map(({ startFrame, endFrame }) => [startFrame / RATE, endFrame / RATE])).toEqual([
      [10, 15],
      [20, 30],
    ])
  })

  test('locks lie in order of time, so that taking one away takes that one', () => {
    const locked = lock(lock(empty, 30, 40, 0), 10, 20, 0)
    expect(placedOf(locked).locks.map(({ startFrame }) => startFrame / RATE)).toEqual([10, 30])
    expect(placedOf(withoutLock(locked, 0)).locks.map(({ startFrame }) => startFrame / RATE)).toEqual([30])
  })

  test('over a break neither reaches out of the programme', () => {
    const programme = (from: string, to: string) => ({ kind: 'programme' as const, name: null, from, to })
    const parts = {
      ...empty,
      segments: [programme('10:00:00:00', '10:01:00:00'), programme('10:02:00:00', '10:03:00:00')],
    }
    expect(inSeconds(put(parts, 50, 130, -3))).toEqual([
      [50, 60, -3],
      [120, 130, -3],
    ])
    expect(placedOf(lock(parts, 50, 130, 0)).locks).toHaveLength(2)
  })
})

describe('undo', () => {
  test('takes back one step at a time and gives it again', () => {
    const [a, b] = [put(empty, 10, 20, -1), put(empty, 10, 20, -2)]
    const after = [a, b].reduce((state, sheet) => decide(state, { kind: 'change', sheet }), opened(empty))
    const back = decide(after, { kind: 'undo' })
    expect(back.sheet).toBe(a)
    expect(decide(back, { kind: 'undo' }).sheet).toBe(empty)
    expect(decide(back, { kind: 'redo' }).sheet).toBe(b)
  })

  test('a drag is one step, however far it went; a new drag of the same trim is another', () => {
    const moved = [-1, -2, -3].map((gainDb) => put(empty, 10, 20, gainDb))
    const drag = (state: ReturnType<typeof opened>) =>
      moved.reduce((now, sheet) => decide(now, { kind: 'change', sheet, moving: 'trim 0' }), state)
    const once = decide(drag(opened(empty)), { kind: 'settle' })
    expect(once.past).toHaveLength(1)
    expect(drag(once).past).toHaveLength(2)
    expect(decide(once, { kind: 'undo' }).sheet).toBe(empty)
  })

  test('there is nothing before the beginning and nothing after the end', () => {
    const state = opened(empty)
    expect(decide(state, { kind: 'undo' })).toBe(state)
    expect(decide(state, { kind: 'redo' })).toBe(state)
  })
})

describe('what is seen', () => {
  test('stays inside the programme and keeps its length while it can', () => {
    expect(within({ from: -5, to: 5 }, 100)).toEqual({ from: 0, to: 10 })
    expect(panned({ from: 80, to: 100 }, 30, 100)).toEqual({ from: 80, to: 100 })
    expect(around(98, 99, 100)).toEqual({ from: 88, to: 100 })
  })

  test('zooming leaves the instant under the pointer where it is', () => {
    const seen = zoomed({ from: 20, to: 60 }, 0.5, 30, 100)
    expect((30 - seen.from) / (seen.to - seen.from)).toBeCloseTo(0.25, 9)
    expect(seen.to - seen.from).toBeCloseTo(20, 9)
  })

  test('the ruler stands at round instants, no closer than asked', () => {
    const at = rulerSeconds({ from: 3, to: 63 }, 800, 110)
    expect(at).toEqual([10, 20, 30, 40, 50, 60])
  })
})

test('a calibrated room: the reference by the mean of the loudspeakers, the LFE 10 dB above it (ITU-R BS.775-4)', () => {
  const read = {
    L: { splDb: 62, monitorDb: -20 },
    R: { splDb: 60, monitorDb: -24 },
    LFE: { splDb: 71, monitorDb: -20 },
  }
  // 82 and 84 dB SPL at a monitor gain of 0 dB, the LFE 91.
  const room = { referenceSplDb: 79, read }
  expect(referenceMonitorDb(room)).toBeCloseTo(-4)
  expect(deviationDb(room, 'L')).toBeCloseTo(-1)
  expect(deviationDb(room, 'R')).toBeCloseTo(1)
  expect(deviationDb(room, 'LFE')).toBeCloseTo(-2)
  expect(deviationDb(room, 'C')).toBeNull()
  expect(referenceMonitorDb({ referenceSplDb: 85, read: {} })).toBeNull()
})

import { describe, expect, test } from 'vitest'
import {
  type Clock,
  clockFromLabel,
  framesPerHop,
  type PlacedSheet,
  placeSheet,
  timecodeFormat,
} from '../../domain/index.ts'
import { readSheetFile, sheetJson } from '../../protocol/index.ts'
import { riddenDb, THINNED_WITHIN_DB, withoutRide, withTake } from './hand-ride.ts'

const RATE = 48000
const HOP = framesPerHop(RATE)
const SECONDS = 60
/** A step of a plan's gains. */
const GAIN_STEP_DB = 2 ** -12

type Sheet = Parameters<typeof withTake>[0]

/** A clock with labels that begin at 10:00:00:00. */
function clockOf(rate: '23.976' | '25' | '29.97'): Clock {
  const format = timecodeFormat(rate, false)
  if (!('rate' in format)) throw new Error('no such timecode')
  return clockFromLabel(format, 10 * 3600 * Math.ceil(Number(rate)), RATE)
}

const GROUNDS = { none: null, '25': clockOf('25'), '23.976': clockOf('23.976'), '29.97': clockOf('29.97') }

function sheetOf(more: Partial<Sheet['fit']> = {}, segments: Sheet['segments'] = []): Sheet {
  const { sheet } = readSheetFile({
    sheetVersion: 1,
    title: { id: 'harbour-day', name: 'Harbour Day' },
    sources: [{ path: 'harbour-day.wav', role: 'programme' }],
  })
  return { ...sheet!, segments, fit: { ...sheet!.fit, ...more } }
}

function placedOn(sheet: Sheet, clock: Clock | null): PlacedSheet {
  const placed = placeSheet(sheet, groundOf(clock))
  if (!('gains' in placed)) throw new Error(JSON.stringify(placed))
  return placed
}

const groundOf = (clock: Clock | null) => ({ clock, sampleRateHz: RATE, frameCount: SECONDS * RATE })
const gainsOn = (sheet: Sheet, clock: Clock | null) => riddenDb(placedOn(sheet, clock).gains, groundOf(clock))

/** A hand on a fader: it rests, moves at up to 30 dB a second, rests again. Always the same. */
function handMoves(count: number): readonly number[] {
  let state = 7
  const next = () => {
    state = (state * 16807) % 2147483647
    return state / 2147483647
  }
  const gains: number[] = []
  let [gain, wanted] = [0, 0]
  for (let hop = 0; hop < count; hop++) {
    if (next() < 0.08) wanted = Math.round((next() * 18 - 12) * 10) / 10
    gain += Math.max(-3, Math.min(3, (wanted - gain) * 0.5))
    gains.push(gain)
  }
  return gains
}

describe('a take becomes a hand ride', () => {
  for (const [rate, clock] of Object.entries(GROUNDS)) {
    test(`within 0.05 dB of the fader in the middle of every 100 ms, timecode ${rate}, as a reader of the sheet lays it`, () => {
      const gainsDb = handMoves(300)
      const empty = sheetOf()
      const written = withTake(empty, groundOf(clock), placedOn(empty, clock), { firstHop: 100, gainsDb })
      // As it lies on disk.
      const sheet = readSheetFile(JSON.parse(sheetJson(written))).sheet!
      const heard = gainsOn(sheet, clock)
      const wrong = gainsDb.map((gainDb, index) => Math.abs(heard[100 + index]! - gainDb))
      expect(Math.max(...wrong)).toBeLessThanOrEqual(THINNED_WITHIN_DB + GAIN_STEP_DB)
      expect(heard.subarray(0, 100).every((db) => db === 0)).toBe(true)
      expect(heard.subarray(406).every((db) => db === 0)).toBe(true)
      const points = sheet.fit.handRides!.flatMap((ride) => ride.points)
      expect(points.length).toBeLessThan(gainsDb.length)
    })
  }

  test('a fader that stands still takes four points at most, and one that falls steadily no more', () => {
    const empty = sheetOf()
    const still = withTake(empty, groundOf(null), placedOn(empty, null), {
      firstHop: 10,
      gainsDb: Array.from({ length: 400 }, () => -4),
    })
    expect(still.fit.handRides![0]!.points.length).toBeLessThanOrEqual(4)
    const falling = withTake(empty, groundOf(null), placedOn(empty, null), {
      firstHop: 10,
      gainsDb: Array.from({ length: 400 }, (_, hop) => -hop / 40),
    })
    expect(falling.fit.handRides![0]!.points.length).toBeLessThanOrEqual(4)
  })

  test('behind it the ride goes back in half a second to what lay there', () => {
    const empty = sheetOf()
    const sheet = withTake(empty, groundOf(null), placedOn(empty, null), { firstHop: 100, gainsDb: [-6, -6, -6] })
    const heard = gainsOn(sheet, null)
    const back = Array.from(heard.subarray(103, 109))
    expect(back.slice(0, 5)).toEqual(back.slice(0, 5).toSorted((a, b) => a - b))
    expect(back[0]).toBeCloseTo(-5, 1)
    expect(back[5]).toBe(0)
  })

  test('punched into another, it replaces what lies under it and leaves the rest as it was', () => {
    for (const clock of Object.values(GROUNDS)) {
      const empty = sheetOf()
      const first = withTake(empty, groundOf(clock), placedOn(empty, clock), { firstHop: 50, gainsDb: handMoves(400) })
      const before = gainsOn(first, clock)
      const second = withTake(first, groundOf(clock), placedOn(first, clock), {
        firstHop: 200,
        gainsDb: Array.from({ length: 60 }, () => 3),
      })
      const after = gainsOn(second, clock)
      for (let hop = 0; hop < after.length; hop++) {
        if (hop >= 200 && hop < 260) expect(after[hop]).toBeCloseTo(3, 1)
        else if (hop < 200 || hop >= 265) expect(Math.abs(after[hop]! - before[hop]!)).toBeLessThan(0.011)
      }
    }
  })

  test('locks keep what they allow, and it keeps to the programme: the sheet is one that can be laid', () => {
    const clock = GROUNDS['25']
    const sheet = sheetOf(
      {
        locks: [
          { from: '10:00:12:00', to: '10:00:14:03', toleranceDb: 0 },
          { from: '10:00:20:11', to: '10:00:22:00', toleranceDb: 2 },
        ],
      },
      [
        { kind: 'tone', name: null, from: '10:00:00:00', to: '10:00:10:01' },
        { kind: 'programme', name: null, from: '10:00:10:01', to: '10:00:50:00' },
      ],
    )
    const taken = withTake(sheet, groundOf(clock), placedOn(sheet, clock), {
      firstHop: 50,
      gainsDb: Array.from({ length: 550 }, () => -8),
    })
    const heard = gainsOn(taken, clock)
    const at = (seconds: number) => heard[Math.floor(seconds * 10)]
    expect([at(9.95), at(13), at(50.05)]).toEqual([0, 0, 0])
    expect(at(21)).toBe(-2)
    expect([at(10.1), at(11.9), at(15), at(30), at(49.9)]).toEqual([-8, -8, -8, -8, -8])
  })

  test('it can be taken away, as a whole and in part', () => {
    const empty = sheetOf()
    const taken = withTake(empty, groundOf(null), placedOn(empty, null), { firstHop: 100, gainsDb: handMoves(200) })
    const { gains } = placedOn(taken, null)
    const none = withoutRide(taken, groundOf(null), gains, { startFrame: 0, endFrame: SECONDS * RATE })
    expect(none.fit).toEqual(empty.fit)
    const part = withoutRide(taken, groundOf(null), gains, { startFrame: 150 * HOP, endFrame: 200 * HOP })
    const [before, after] = [gainsOn(taken, null), gainsOn(part, null)]
    expect(after.subarray(150, 200).every((db) => db === 0)).toBe(true)
    for (const hop of [120, 149, 200, 250]) expect(after[hop]).toBeCloseTo(before[hop]!, 1)
  })
})

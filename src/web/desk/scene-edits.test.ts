import { describe, expect, test } from 'vitest'
import { clockFromLabel, placeSheet, type Sheet, type SheetGround } from '../../domain/index.ts'
import {
  inOrder,
  withBorder,
  withGlide,
  withJoin,
  withoutScene,
  withSetting,
  withSettings,
  withSplit,
} from './scene-edits.ts'

const RATE = 48000
const ground: SheetGround = {
  clock: clockFromLabel({ rate: '25', dropFrame: false }, 10 * 3600 * 25, RATE),
  sampleRateHz: RATE,
  frameCount: 600 * RATE,
}
const plain: Sheet = {
  title: { id: 'saltmarsh-lane-103', name: 'Saltmarsh Lane 103', language: null, deliveredOn: null },
  timecode: { rate: '25', dropFrame: false, start: '10:00:00:00' },
  sources: [{ path: '103.wav', layout: '2.0', kind: null, order: null, sha256: null }],
  segments: [],
  spec: null,
  upmix: { start: null, settings: {}, scenes: [] },
  fit: { settings: {}, trims: [], locks: [] },
  waivers: [],
  deliverables: [],
}
const seconds = (sheet: Sheet | null) => {
  const placed = placeSheet(sheet!, ground)
  if (!('scenes' in placed)) throw new Error(JSON.stringify(placed))
  return placed.scenes.map(({ startFrame, endFrame }) => [startFrame / RATE, endFrame / RATE])
}
const split = (sheet: Sheet, at: number) => withSplit(sheet, ground, at * RATE)!
const two = split(plain, 100)

describe('scenes', () => {
  test('splitting a title without scenes makes two of it, from its first picture to its last', () => {
    expect(seconds(two)).toEqual([
      [0, 100],
      [100, 600],
    ])
    expect(two.upmix.scenes[1]!.from).toBe('10:01:40:00')
  })

  test('a split keeps the settings on both sides; at a border there is nothing to split', () => {
    const set = withSetting(two, 1, 'ambienceShare', 1.2)
    const three = split(set, 300)
    expect(seconds(three)).toEqual([
      [0, 100],
      [100, 300],
      [300, 600],
    ])
    expect(three.upmix.scenes.map(({ settings }) => settings)).toEqual([
      {},
      { ambienceShare: 1.2 },
      { ambienceShare: 1.2 },
    ])
    expect(withSplit(three, ground, 300 * RATE)).toBeNull()
  })

  test('between scenes and segments a split fills only what is free there', () => {
    const segments = [
      { kind: 'programme', name: null, from: '10:00:00:00', to: '10:05:00:00' },
      { kind: 'break', name: null, from: '10:05:00:00', to: '10:06:00:00' },
      { kind: 'programme', name: null, from: '10:06:00:00', to: '10:10:00:00' },
    ] as const
    const parted = { ...plain, segments }
    expect(seconds(split(parted, 400))).toEqual([
      [360, 400],
      [400, 600],
    ])
    expect(withSplit(parted, ground, 330 * RATE)).toBeNull()
    const gap = withoutScene(split(split(parted, 100), 200), 1)
    expect(seconds(split(gap, 150))).toEqual([
      [0, 100],
      [100, 150],
      [150, 200],
      [200, 300],
    ])
  })

  test('joined, the first goes on under its own settings; not over a break', () => {
    const set = withSetting(two, 0, 'centreShare', 0.5)
    const one = withJoin(set, ground, 0)!
    expect(seconds(one)).toEqual([[0, 600]])
    expect(one.upmix.scenes[0]!.settings).toEqual({ centreShare: 0.5 })
    expect(withJoin(one, ground, 0)).toBeNull()
  })

  test('a border is shared by the scenes that touch, and so is its glide', () => {
    expect(seconds(withBorder(two, ground, 0, 'out', 120 * RATE))).toEqual([
      [0, 120],
      [120, 600],
    ])
    expect(withBorder(two, ground, 0, 'out', 601 * RATE)).toBeNull()
    const { scenes } = withGlide(two, 1, 'in', 1512).upmix
    expect(scenes.map(({ glideInMs, glideOutMs }) => [glideInMs, glideOutMs])).toEqual([
      [500, 1500],
      [1500, 500],
    ])
    expect(withGlide(two, 0, 'out', 1).upmix.scenes[1]!.glideInMs).toBe(10)
  })

  test('a setting that is taken away is as outside again; settings are copied whole', () => {
    const set = withSetting(withSetting(two, 0, 'centreShare', 0.5), 'title', 'lfeGainDb', -10)
    expect(set.upmix.settings).toEqual({ lfeGainDb: -10 })
    const copied = withSettings(set, 1, () => set.upmix.scenes[0]!.settings)
    expect(copied.upmix.scenes[1]!.settings).toEqual({ centreShare: 0.5 })
    expect(withSetting(copied, 1, 'centreShare', null).upmix.scenes[1]!.settings).toEqual({})
  })

  test('a sheet written out of order is put in order, so that places and entries agree', () => {
    const turned = { ...two, upmix: { ...two.upmix, scenes: two.upmix.scenes.toReversed() } }
    expect(inOrder(turned, ground)).toEqual(two)
  })
})

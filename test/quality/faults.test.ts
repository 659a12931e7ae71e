import { readdirSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import type { Fault, FaultId, FaultReport, LayoutName } from '../../src/domain/index.ts'
import { faultDetector } from '../../src/engine/intake/faults/index.ts'
import { applause, chiptune, distortedGuitar, gunfire, recordPercussion, synthBass } from '../testkit/hard-sounds.ts'
import { inspectWith, recording } from '../testkit/inspected.ts'
import { sourceOf } from '../testkit/sources.ts'

// Outside authority: real recordings (music of the Debian package singularity-music, prompts of
// asterisk-core-sounds-en-wav), and the places where faults were planted in them.
const RATE = 48000
const SECONDS = 60
const MUSIC = '/usr/share/games/singularity/music'
const PROMPTS = '/usr/share/asterisk/sounds/en_US_f_Allison'
const TRACKS = ['Awakening.ogg', 'Nebula.ogg', 'Through Space.ogg', 'Media Threat.ogg']

/** A minute of a track 6 dB down, so that what a coder threw above full scale is whole. */
function excerpt(track: string, from = 30): Float64Array[] {
  const known = excerpts.get(track)
  if (known !== undefined) return known.map((plane) => plane.slice())
  const planes = recording(join(MUSIC, track), 2, RATE, from + SECONDS).map((plane) =>
    Float64Array.from(plane.subarray(from * RATE), (sample) => sample / 2),
  )
  excerpts.set(track, planes)
  return planes.map((plane) => plane.slice())
}
const excerpts = new Map<string, Float64Array[]>()

function inspect(planes: readonly Float64Array[], layout: LayoutName): FaultReport {
  return inspectWith(faultDetector, sourceOf(planes, layout, RATE, 'int24'))
}

/** DC, loss in mono and notes of overs are properties of a recording itself; SoX agrees on the DC of these tracks. */
const OF_THE_RECORDING: readonly FaultId[] = ['dc-offset', 'mono-loss', 'inter-sample-over']
const alarms = (report: FaultReport) => report.faults.filter(({ id }) => !OF_THE_RECORDING.includes(id))

/** The first frame from `second` on with sound at both sides of it in both channels. */
function soundingAt(planes: readonly Float64Array[], second: number): number {
  const isLoud = (at: number) =>
    planes.every((plane) =>
      [at - 480, at, at + 480].every((start) => {
        const energy = plane.subarray(start, start + 480).reduce((sum, sample) => sum + sample * sample, 0)
        return energy / 480 > 1e-4
      }),
    )
  let at = second * RATE
  while (!isLoud(at)) at += 480
  return at
}

type Plant = { readonly id: FaultId; readonly at: number; readonly withinFrames: number }

/** One fault of each kind, some seconds apart. */
function plantAll(planes: readonly Float64Array[]): Plant[] {
  const plants: Plant[] = []
  const plant = (id: FaultId, second: number, withinFrames: number, change: (at: number) => void) => {
    const at = soundingAt(planes, second)
    change(at)
    plants.push({ id, at, withinFrames })
  }
  const [left, right] = planes as [Float64Array, Float64Array]
  const zeroed = (from: number, frames: number, which = planes) => {
    for (const plane of which) plane.fill(0, from, from + frames)
  }
  plant('click', 4, 2, (at) => {
    left[at]! += 0.25
  })
  plant('dropout', 8, 48, (at) => zeroed(at, 48, [right]))
  plant('dropout', 12, 48, (at) => zeroed(at, 480))
  plant('dropout', 16, 48, (at) => zeroed(at, RATE / 4))
  plant('repeat', 20, 48, (at) => planes.forEach((plane) => plane.copyWithin(at, at - 512, at)))
  plant('repeat', 23, 48, (at) => planes.forEach((plane) => plane.copyWithin(at, at - 2048, at)))
  plant('held-samples', 26, 48, (at) => planes.forEach((plane) => plane.fill(plane[at]!, at, at + 96)))
  plant('intermittent-channel', 30, 480, (at) => zeroed(at, 8 * RATE, [left]))
  plant('dc-offset', 42, RATE, () => {
    for (let n = 42 * RATE; n < right.length; n++) right[n]! += 0.15
  })
  return plants
}

function isFound({ faults }: FaultReport, { id, at, withinFrames }: Plant): boolean {
  const begins = (fault: Fault) => fault.places.some(({ startFrame }) => Math.abs(startFrame - at) <= withinFrames)
  return faults.some((fault) => fault.id === id && begins(fault))
}

describe('faults planted in real music', () => {
  it.each(TRACKS)('%s: each found in its place, and nothing else', (track) => {
    const planes = excerpt(track)
    const plants = plantAll(planes)
    const report = inspect(planes, '2.0')
    expect(plants.filter((planted) => !isFound(report, planted))).toEqual([])
    expect(alarms(report)).toHaveLength(plants.length - 1)
  })

  it.each(TRACKS)(
    '%s with ten clicks of one sample at -20 dBFS, loud places too: eight or more, and nothing else',
    (track) => {
      const planes = excerpt(track)
      const clicks = Array.from({ length: 10 }, (_, k) => (4 + 5 * k) * RATE + 997 * k)
      for (const [k, at] of clicks.entries()) planes[k % 2]![at]! += k % 4 < 2 ? 0.1 : -0.1
      const found = alarms(inspect(planes, '2.0')).flatMap(({ id, places }) =>
        places.map((place) => ({ id, ...place })),
      )
      const isPlanted = ({ id, startFrame }: { id: FaultId; startFrame: number }) =>
        id === 'click' && clicks.some((at) => Math.abs(at - startFrame) <= 2)
      expect(found.filter((alarm) => !isPlanted(alarm))).toEqual([])
      const isFoundAt = (at: number) => found.some(({ startFrame }) => Math.abs(at - startFrame) <= 2)
      expect(clicks.filter(isFoundAt).length).toBeGreaterThanOrEqual(8)
    },
  )

  it.each(TRACKS)('%s without them: none', (track) => {
    expect(alarms(inspect(excerpt(track), '2.0'))).toEqual([])
  })

  it.each(TRACKS.slice(0, 2))('%s driven 8 dB into full scale, and turned down by 9 dB afterwards', (track) => {
    for (const gain of [1, 10 ** (-9 / 20)]) {
      const planes = excerpt(track).map((plane) => {
        const peak = plane.reduce((highest, sample) => Math.max(highest, Math.abs(sample)), 0)
        return plane.map((sample) => gain * Math.max(-1, Math.min(1 - 2 ** -23, (2.5 * sample) / peak)))
      })
      const clipped = alarms(inspect(planes, '2.0'))
      expect(clipped.map(({ id, channels }) => [id, ...channels]).toSorted()).toEqual([
        ['clipped', 'L'],
        ['clipped', 'R'],
      ])
      for (const { figures } of clipped) expect(figures['levelDbfs']).toBeCloseTo(20 * Math.log10(gain), 2)
    }
  })
})

describe('faults planted in a 5.1 of music and voices', () => {
  /** Fronts and surrounds of two tracks, voices in the centre over a little of the fronts, bass in the LFE. */
  function mix(): Float64Array[] {
    const [fronts, surrounds] = [excerpt(TRACKS[0]!), excerpt(TRACKS[1]!)]
    const [left, right] = fronts as [Float64Array, Float64Array]
    const voices = spoken()
    const centre = left.map((sample, n) => voices[n % voices.length]! + 0.4 * (sample + right[n]!))
    let low = 0
    const lfe = left.map((sample, n) => {
      low += 0.01 * (sample + right[n]! - low)
      return low
    })
    // Both surrounds carry something of each other, as a room's do.
    const [back, other] = surrounds as [Float64Array, Float64Array]
    const side = (own: Float64Array, across: Float64Array) => own.map((sample, n) => 0.3 * sample + 0.25 * across[n]!)
    return [left, right, centre, lfe, side(back, other), side(other, back)]
  }

  it('each found in its place and channel, and nothing without them', () => {
    const planes = mix()
    expect(alarms(inspect(planes, '5.1'))).toEqual([])
    const hole = soundingAt([planes[2]!], 10)
    planes[2]!.fill(0, hole, hole + 144)
    for (let n = 30 * RATE; n < 50 * RATE; n++) planes[5]![n]! *= -1
    const lost = soundingAt([planes[1]!], 15)
    planes[1]!.fill(0, lost, lost + 5 * RATE)
    const report = inspect(planes, '5.1')
    expect(isFound(report, { id: 'dropout', at: hole, withinFrames: 48 })).toBe(true)
    expect(isFound(report, { id: 'intermittent-channel', at: lost, withinFrames: 480 })).toBe(true)
    expect(isFound(report, { id: 'inverted-pair', at: 30 * RATE, withinFrames: RATE })).toBe(true)
    expect(alarms(report).flatMap(({ channels }) => channels)).toEqual(expect.arrayContaining(['C', 'R', 'Ls', 'Rs']))
  })
})

/** Prompts one after another. */
function spoken(): Float64Array {
  const files = readdirSync(PROMPTS)
    .filter((name) => name.endsWith('.wav'))
    .slice(0, 20)
  const parts = files.map((name) => recording(join(PROMPTS, name), 1, RATE)[0]!)
  return Float64Array.from(parts.flatMap((part) => Array.from(part, (sample) => sample / 2)))
}

describe('sounds that look like faults', () => {
  it.each(Object.entries({ applause, chiptune, distortedGuitar, gunfire, recordPercussion, synthBass }))(
    '%s has none',
    (_, make) => {
      expect(alarms(inspect([Float64Array.from(make(30))], 'mono'))).toEqual([])
    },
  )

  it('recorded voices have none', () => {
    expect(alarms(inspect([spoken()], 'mono'))).toEqual([])
  })
})

import { execFileSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { defaultSettings, readSource, UPMIX_PARAMETERS, type UpmixSettings } from '../../src/domain/index.ts'
import { extract, writeFronts } from '../../src/dsp/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { inspectTracks, tracksOf } from '../testkit/two-track-mixes.ts'

// Outside authority: SciPy plants the delays, the hiss and the rain in real voices and real music, and measures bands.
// The limits of the hold were set before any of these masters was measured, and not moved since.
const kernels = loadKernels(192 * 1024 * 1024)
const script = fileURLToPath(new URL('upmix-sources.py', import.meta.url))
const folder = mkdtempSync(join(tmpdir(), 'upmix-sources-'))
const python = (...words: readonly (string | number)[]) =>
  execFileSync('/usr/bin/python3', [script, ...words.map(String)]).toString()

type Made = {
  readonly rates: Readonly<Record<string, number>>
  readonly speaks: readonly boolean[]
  readonly rests: readonly boolean[]
}
let made: Made

beforeAll(() => {
  python('make', folder)
  made = JSON.parse(readFileSync(join(folder, 'made.json'), 'utf8')) as Made
})
afterAll(() => rmSync(folder, { recursive: true }))

const CHANNELS = ['left', 'right', 'centre', 'leftSurround', 'rightSurround'] as const
type Channels = Readonly<Record<(typeof CHANNELS)[number], Float32Array>>
type Options = { readonly stem?: string; readonly settings?: Partial<UpmixSettings>; readonly isRead?: boolean }

const known = new Map<string, Channels>()

/** The five channels of a master, or what becomes of a stem of it. */
function upmix(name: string, options: Options = {}): Channels {
  const key = JSON.stringify([name, options])
  const channels = known.get(key) ?? upmixAnew(name, options)
  known.set(key, channels)
  return channels
}

function upmixAnew(name: string, { stem, settings, isRead = true }: Options = {}): Channels {
  const load = (each: string) => tracksOf(readFileSync(join(folder, `${each}.f32`)))
  const sampleRateHz = made.rates[name]!
  const mix = load(name)
  const reading = readSource(inspectTracks(kernels, mix, sampleRateHz))
  const mark = kernels.arena.mark()
  const place = (track: Float32Array) => {
    const address = kernels.arena.take(8 * track.length)
    const plane = new Float64Array(kernels.memory.buffer, address, track.length)
    plane.set(track)
    return plane
  }
  const placed = ({ left, right }: { left: Float32Array; right: Float32Array }) => ({
    left: place(left),
    right: place(right),
  })
  const tracks = placed(mix)
  const carried = stem === undefined ? undefined : placed(load(stem))
  const all = { ...defaultSettings(UPMIX_PARAMETERS), ...settings }
  const request = { sampleRateHz, settings: all, tracks, ...(carried && { carried }), ...(isRead && { reading }) }
  const extracted = extract(kernels, request)
  const fronts = placed(mix)
  writeFronts(kernels, carried ?? tracks, extracted, 1, fronts)
  const copied = (plane: Float32Array | Float64Array) => Float32Array.from(plane)
  const { centre, leftSurround, rightSurround } = extracted
  const channels = {
    left: copied(fronts.left),
    right: copied(fronts.right),
    centre: copied(centre),
    leftSurround: copied(leftSurround),
    rightSurround: copied(rightSurround),
  }
  kernels.arena.release(mark)
  return channels
}

function written(plane: Float32Array): string {
  const path = join(folder, 'plane.f32')
  writeFileSync(path, new Uint8Array(plane.buffer, plane.byteOffset, plane.byteLength))
  return path
}

const TREBLE = [4000, 20000] as const
const trebles = new Map<Float32Array, number>()

function trebleDb(plane: Float32Array, rate = 48000): number {
  const level = trebles.get(plane) ?? Number(python('bands', written(plane), rate, ...TREBLE))
  trebles.set(plane, level)
  return level
}

const meanSquare = (planes: readonly Float32Array[], isIn: (frame: number) => boolean = () => true) => {
  let sum = 0
  let count = 0
  for (let frame = 0; frame < planes[0]!.length; frame++) {
    if (!isIn(frame)) continue
    for (const plane of planes) sum += plane[frame]! ** 2
    count += 1
  }
  return sum / count
}
const db = (power: number) => 10 * Math.log10(power + 1e-30)
const inSurrounds = ({ leftSurround, rightSurround }: Channels) => meanSquare([leftSurround, rightSurround])
const shareDb = (of: Channels) => db(inSurrounds(of) / meanSquare(CHANNELS.map((name) => of[name])))

describe('a tape head that stands askew', () => {
  it.each(['speech-20us', 'speech-drift'])('%s: the centre keeps its level above 4 kHz', (name) => {
    const level = trebleDb(upmix('speech').centre)
    expect(Math.abs(trebleDb(upmix(name).centre) - level)).toBeLessThan(0.2)
    expect(trebleDb(upmix(name, { isRead: false }).centre) - level).toBeLessThan(-0.8)
  })

  it.each(['20us', 'drift'])('voices over music, %s: their treble stays in the centre', (how) => {
    const level = trebleDb(upmix('mix', { stem: 'speech' }).centre)
    const followed = upmix(`mix-${how}`, { stem: `speech-${how}` })
    expect(Math.abs(trebleDb(followed.centre) - level)).toBeLessThan(0.3)
    expect(trebleDb(upmix(`mix-${how}`, { stem: `speech-${how}`, isRead: false }).centre) - level).toBeLessThan(-0.8)
    // What meeting half-way leaves in the fronts is less than what the weights of the unaligned tracks leave there.
    const left = upmix(`mix-${how}`, { stem: `speech-${how}`, isRead: false }).left
    expect(trebleDb(followed.left)).toBeLessThan(trebleDb(left))
  })

  it.each([44100, 88200, 96000])('at %i Hz', (rate) => {
    const level = trebleDb(upmix(`speech@${rate}`).centre, rate)
    expect(Math.abs(trebleDb(upmix(`speech-20us@${rate}`).centre, rate) - level)).toBeLessThan(0.2)
  })

  it('the fold-down stays the master', () => {
    // ITU-R BS.775-4 Table 2
    const out = upmix('mix-drift')
    const master = tracksOf(readFileSync(join(folder, 'mix-drift.f32')))
    const k = Math.SQRT1_2
    const error = master.left.map((x, n) => out.left[n]! + k * (out.centre[n]! + out.leftSurround[n]!) - x)
    expect(db(meanSquare([error]))).toBeLessThan(-140)
  })
})

describe('steady hiss at -60 dBFS', () => {
  it.each(['speech-hiss', 'room-hiss'])('%s: stays in front, and does not pump', (name) => {
    const held = upmix(name, { stem: 'hiss' })
    expect(shareDb(held)).toBeLessThan(-30)
    expect(shareDb(upmix(name, { stem: 'hiss', settings: { surroundNoiseHold: 0 } }))).toBeGreaterThan(-8)
    const step = 48000 / 20
    const fronts = [held.left, held.right, held.centre]
    const speaking = meanSquare(fronts, (frame) => made.speaks[Math.floor(frame / step)]!)
    const resting = meanSquare(fronts, (frame) => made.rests[Math.floor(frame / step)]!)
    expect(Math.abs(db(speaking / resting))).toBeLessThan(1)
  })

  it.each(['music-0', 'music-1', 'music-2'])('%s, which has none, keeps its surrounds', (name) => {
    const held = inSurrounds(upmix(name))
    expect(Math.abs(db(held / inSurrounds(upmix(name, { settings: { surroundNoiseHold: 0 } }))))).toBeLessThan(0.05)
  })
})

describe('rain', () => {
  const kept = (name: string) => {
    const free = upmix(`speech-${name}`, { stem: name, settings: { surroundNoiseHold: 0 } })
    return db(inSurrounds(upmix(`speech-${name}`, { stem: name })) / inSurrounds(free))
  }

  it('at -40 dBFS all along, or at -52 dBFS in a scene, stays in the surrounds', () => {
    expect(kept('rain-40')).toBeGreaterThan(-0.5)
    expect(kept('rain-late')).toBeGreaterThan(-0.5)
  })

  it('steady, below -50 dBFS and never away, cannot be told from hiss and is held in front', () => {
    expect(kept('rain-52')).toBeLessThan(-12)
  })
})

describe('bass kept out of the centre', () => {
  /** The bass that a subwoofer gets: all mains added up, 20 to 200 Hz, against the two tracks added up. */
  function bassOver(name: string, settings: Partial<UpmixSettings>): number[] {
    const out = upmix(name, { settings })
    const master = tracksOf(readFileSync(join(folder, `${name}.f32`)))
    const thirds = (plane: Float32Array) => JSON.parse(python('thirds', written(plane), 48000)) as number[]
    const sum = thirds(out.left.map((_, n) => CHANNELS.reduce((total, channel) => total + out[channel][n]!, 0)))
    const wanted = thirds(master.left.map((x, n) => x + master.right[n]!))
    return sum.map((level, band) => level - wanted[band]!)
  }

  it('a bass in the middle: centreLowCutHz=300 keeps the bass-managed sum, without it 3 dB are lost', () => {
    for (const over of bassOver('bass', { centreLowCutHz: 300 })) expect(Math.abs(over)).toBeLessThan(0.5)
    // Arithmetic: k (l + r) in one loudspeaker instead of l + r in two.
    expect(Math.min(...bassOver('bass', {}))).toBeLessThan(-2.5)
  })

  it.each(['music-0', 'music-1', 'music-2'])('%s: within 0.5 dB from 20 to 200 Hz', (name) => {
    for (const over of bassOver(name, { centreLowCutHz: 300 })) expect(Math.abs(over)).toBeLessThan(0.5)
  })
})

// Faults laid into real programmes, at places that are known to the sample.
import { execFileSync } from 'node:child_process'
import { LAYOUTS, type Role } from '../../src/domain/index.ts'
import { sine } from '../../test/testkit/masters.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import type { Sound } from './material.ts'

/** What has to be said, where it begins, and in which channels (none named: whichever). */
export type Plant = {
  readonly what: string
  readonly id: string
  readonly startFrame: number
  readonly channels: readonly Role[]
}

export type Planted = { readonly sound: Sound; readonly plants: readonly Plant[] }
export type Planting = (clean: Sound) => Planted

const WORD_STEPS = 2 ** 23
/** A minute of each programme is enough for what lies at one place. */
export const EXCERPT_SECONDS = 60

const copied = (sound: Sound) => sound.planes.map((plane) => plane.slice())
const framesOf = ({ planes }: Sound) => (planes[0] as Float32Array).length

function withPlanes(sound: Sound, planes: readonly Float32Array[]): Sound {
  const inWords = (x: number) => Math.round(Math.max(-1, Math.min(1 - 1 / WORD_STEPS, x)) * WORD_STEPS) / WORD_STEPS
  return { ...sound, planes: planes.map((plane) => plane.map(inWords)) }
}

/** The first frame from `second` on around which the channel sounds: what happens in silence happens to nothing. */
function soundingAt(plane: Float32Array, rate: number, second: number): number {
  const piece = Math.round(rate / 100)
  const isLoud = (from: number) => {
    let energy = 0
    for (let n = from; n < from + piece; n++) energy += (plane[n] as number) ** 2
    return energy / piece > 1e-4
  }
  for (let at = Math.round(second * rate); at + 2 * piece < plane.length; at += piece) {
    if ([at - piece, at, at + piece].every(isLoud)) return at
  }
  return Math.round(second * rate)
}

/** One fault of each kind that has a place of its own, some seconds apart. */
const local: Planting = (clean) => {
  const rate = clean.sampleRateHz
  const planes = copied(clean)
  const roles = LAYOUTS[clean.layout]
  const plants: Plant[] = []
  const plant = (
    what: string,
    id: string,
    second: number,
    all: boolean,
    change: (at: number, hit: number[]) => void,
  ) => {
    const channel = plants.length % Math.min(2, roles.length)
    const at = soundingAt(planes[channel] as Float32Array, rate, second)
    const hit = all ? [...planes.keys()] : [channel]
    change(at, hit)
    plants.push({ what, id, startFrame: at, channels: hit.map((each) => roles[each] as Role) })
  }
  const zero = (frames: number) => (at: number, hit: number[]) => {
    for (const channel of hit) planes[channel]?.fill(0, at, at + frames)
  }
  const again = (block: number) => (at: number, hit: number[]) => {
    for (const channel of hit) planes[channel]?.copyWithin(at, at - block, at)
  }
  for (const [k, height] of [0.25, -0.1, 0.1, -0.05].entries()) {
    const db = (20 * Math.log10(Math.abs(height))).toFixed(0)
    plant(`click of one sample, ${db} dBFS`, 'click', 3 + 2 * k, false, (at, [channel]) => {
      const plane = planes[channel as number] as Float32Array
      plane[at] = (plane[at] as number) + height
    })
  }
  plant('dropout, 1 ms in one channel', 'dropout', 12, false, zero(Math.round(rate / 1000)))
  plant('dropout, 10 ms in all channels', 'dropout', 15, true, zero(Math.round(rate / 100)))
  plant('dropout, 250 ms in all channels', 'dropout', 18, true, zero(Math.round(rate / 4)))
  plant('512 samples played twice', 'repeat', 22, true, again(512))
  plant('2048 samples played twice', 'repeat', 26, true, again(2048))
  plant('one sample held for 2 ms', 'held-samples', 30, true, (at, hit) => {
    for (const channel of hit) planes[channel]?.fill(planes[channel]?.[at] as number, at, at + Math.round(rate / 500))
  })
  if (roles.length > 1) plant('channel lost for 6 s', 'intermittent-channel', 36, false, zero(6 * rate))
  return { sound: withPlanes(clean, planes), plants }
}

const offset: Planting = (clean) => {
  const planes = copied(clean)
  const from = 20 * clean.sampleRateHz
  for (let n = from; n < 50 * clean.sampleRateHz; n++)
    (planes[0] as Float32Array)[n] = 0.8 * ((planes[0] as Float32Array)[n] as number) + 0.02
  const channels = [LAYOUTS[clean.layout][0] as Role]
  return {
    sound: withPlanes(clean, planes),
    plants: [{ what: 'DC of 2 %', id: 'dc-offset', startFrame: from, channels }],
  }
}

/** Driven into full scale for ten seconds, and turned down afterwards. */
const clipping = (afterDb: number): Planting => {
  return (clean) => {
    const from = 20 * clean.sampleRateHz
    const to = 30 * clean.sampleRateHz
    const after = 10 ** (afterDb / 20)
    const peak = clean.planes.slice(0, 2).reduce((most, plane) => {
      return plane.subarray(from, to).reduce((top, x) => Math.max(top, Math.abs(x)), most)
    }, 1e-3)
    const drive = 2.5 / peak
    const planes = clean.planes.map((plane, channel) =>
      plane.map((x, n) =>
        channel > 1 || n < from || n >= to ? 0.5 * x : after * Math.max(-1, Math.min(1, drive * x)),
      ),
    )
    const first = clean.planes[0]?.findIndex((x, n) => n >= from && Math.abs(drive * x) > 1.2) ?? from
    const what = afterDb === 0 ? 'clipped at full scale' : 'clipped, then turned down by 9 dB'
    return { sound: withPlanes(clean, planes), plants: [{ what, id: 'clipped', startFrame: first, channels: [] }] }
  }
}

/** A quarter of the sampling rate at 45 degrees peaks 3 dB above its samples. @source ITU-R BS.1770-5 Annex 2 */
const over: Planting = (clean) => {
  const planes = clean.planes.map((plane) => plane.map((x) => 0.1 * x))
  const plane = planes[0] as Float32Array
  const at = 25 * clean.sampleRateHz
  for (let n = 0; n < 64; n++) {
    const rounded = Math.sin((Math.PI * (n + 0.5)) / 64)
    plane[at + n] = (plane[at + n] as number) + 1.25 * rounded * Math.sin(Math.PI * (n / 2 + 0.25))
  }
  const channels = [LAYOUTS[clean.layout][0] as Role]
  return {
    sound: withPlanes(clean, planes),
    plants: [{ what: 'over of +1.9 dBTP between samples', id: 'inter-sample-over', startFrame: at + 32, channels }],
  }
}

const hum = (mainsHz: number): Planting => {
  return (clean) => {
    const parts = [-46, -54, -52].map((db, n) => sine((n + 1) * mainsHz, db, framesOf(clean), clean.sampleRateHz))
    const planes = clean.planes.map((plane) =>
      plane.map((x, n) => parts.reduce((sum, part) => sum + (part[n] as number), x)),
    )
    return {
      sound: withPlanes(clean, planes),
      plants: [{ what: `hum of ${mainsHz} Hz at -46 dBFS`, id: 'hum', startFrame: 0, channels: [] }],
    }
  }
}

const dead: Planting = (clean) => {
  const planes = copied(clean)
  planes.at(-1)?.fill(0)
  const channels = [LAYOUTS[clean.layout].at(-1) as Role]
  return {
    sound: withPlanes(clean, planes),
    plants: [{ what: 'dead channel', id: 'dead-channel', startFrame: 0, channels }],
  }
}

/** From 20 s on R is inverted; in a stereo of which the sides have something in common. */
const inverted: Planting = (clean) => {
  const [left, right, ...others] = copied(clean) as [Float32Array, Float32Array, ...Float32Array[]]
  const from = 20 * clean.sampleRateHz
  const mid = left.map((x, n) => 0.5 * (x + (right[n] as number)))
  const narrow = [left, right].map((plane) => plane.map((x, n) => 0.3 * x + 0.7 * (mid[n] as number)))
  const flipped = (narrow[1] as Float32Array).map((x, n) => (n < from ? x : -x))
  const isStereo = clean.layout === '2.0'
  const plant = isStereo
    ? { what: 'loss in mono: R inverted from 20 s on', id: 'mono-loss', startFrame: from, channels: [] }
    : { what: 'R of a 5.1 inverted from 20 s on', id: 'inverted-pair', startFrame: from, channels: ['R'] as const }
  return { sound: withPlanes(clean, [narrow[0] as Float32Array, flipped, ...others]), plants: [plant] }
}

const fewBits: Planting = (clean) => ({
  sound: withPlanes(
    clean,
    clean.planes.map((plane) => plane.map((x) => Math.round(x * 32768) / 32768)),
  ),
  plants: [{ what: '16 bits in words of 24', id: 'unused-bits', startFrame: 0, channels: [] }],
})

/** Through a lower sample rate and back, by libsoxr. */
const narrowBand: Planting = (clean) => {
  const rate = clean.sampleRateHz
  const planes = clean.planes.map((plane) => {
    const format = ['-f', 'f32le', '-ac', '1']
    const filter = `aresample=24000:resampler=soxr,aresample=${rate}:resampler=soxr`
    const args = ['-v', 'error', ...format, '-ar', String(rate), '-i', '-', '-af', filter, ...format, '-']
    const bytes = execFileSync('ffmpeg', args, {
      input: Buffer.from(plane.buffer, plane.byteOffset, plane.byteLength),
      maxBuffer: 1 << 30,
    })
    return new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length))
  })
  return {
    sound: withPlanes(clean, planes),
    plants: [{ what: 'band limit of 12 kHz', id: 'band-limit', startFrame: 0, channels: [] }],
  }
}

/** A master: black, line-up tone, black, 2-pop of a picture of 25 a second, the programme two seconds behind it, black. */
const master: Planting = (clean) => {
  const rate = clean.sampleRateHz
  const random = seededRandom(7)
  const at = (seconds: number) => Math.round(seconds * rate)
  const [toneAt, popAt] = [at(1.5), at(21) + Math.floor(rate * 0.01 * random())]
  const actionAt = popAt + at(2)
  const actionEnd = actionAt + framesOf(clean)
  const laid = (plane: Float32Array) => {
    const whole = new Float32Array(actionEnd + at(6))
    whole.set(sine(1000, -18, at(15), rate), toneAt)
    whole.set(sine(1000, -20, at(0.04), rate), popAt)
    whole.set(plane, actionAt)
    return whole
  }
  const plants = [
    { what: 'silence at the head', id: 'head silence', startFrame: 0, channels: [] },
    { what: 'line-up tone', id: 'tone (steady)', startFrame: toneAt, channels: [] },
    { what: '2-pop', id: '2-pop', startFrame: popAt, channels: [] },
    { what: 'leader', id: 'leader', startFrame: popAt, channels: [] },
    { what: 'silence at the tail', id: 'tail silence', startFrame: actionEnd, channels: [] },
  ]
  return { sound: withPlanes(clean, clean.planes.map(laid)), plants }
}

/** What is laid into a programme of one, of two and of more channels. */
export function plantingsFor({ layout }: Sound): readonly Planting[] {
  const always = [local, offset, clipping(0), clipping(-9), over, hum(50), hum(60), fewBits, narrowBand, master]
  return layout === 'mono' ? always : [...always, dead, inverted]
}

/** The minute of a programme that begins a quarter into it, with sound at both ends. */
export function excerptOf(sound: Sound): Sound {
  const frames = Math.min(framesOf(sound), EXCERPT_SECONDS * sound.sampleRateHz)
  const mid = sound.planes[0] as Float32Array
  const quarter = Math.floor((framesOf(sound) - frames) / 4)
  const from = Math.min(framesOf(sound) - frames, soundingAt(mid, sound.sampleRateHz, quarter / sound.sampleRateHz))
  return { ...sound, planes: sound.planes.map((plane) => plane.slice(from, from + frames).map((x) => 0.5 * x)) }
}

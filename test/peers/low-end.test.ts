// Excess low end under kick clicks, planted into a 5.1: found, brought to its line, and nothing else is touched.
// Read by SciPy (`low-end-oracle.py`).
import { execFileSync } from 'node:child_process'
import { writeFileSync } from 'node:fs'
import { beforeAll, describe, expect, test } from 'vitest'
import {
  type AudioSource,
  bytesPerFrame,
  defaultSettings,
  FIT_PARAMETERS,
  type FitSettings,
  LAYOUTS,
  type LayoutName,
  type LowEndPlan,
  type PcmFormat,
  type PlaneStore,
  type Segment,
  segmentAt,
} from '../../src/domain/index.ts'
import { planLowEnd } from '../../src/engine/decide/index.ts'
import { compareFoldDown, compareWithMaster, lowEndOfSegment } from '../../src/engine/measure/index.ts'
import { type RenderJob, renderSegment, treatedMaster } from '../../src/engine/render/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { seededRandom } from '../testkit/programmes.ts'
import { sourceOf } from '../testkit/sources.ts'
import { temporaryFolder } from '../testkit/wav.ts'

const RATE = 48000
const SECONDS = 40
const EXCESS = { from: 27, to: 28.6 }
const kernels = loadKernels(192 * 1024 * 1024)
const folder = temporaryFolder()

/** Bass notes of 55 Hz, a bed of noise, and from 27 s on 1.6 s of 45 Hz with a click each 400 ms. */
function planted(): AudioSource {
  const random = seededRandom(45)
  let bed = 0
  const frames = SECONDS * RATE
  const planes = LAYOUTS['5.1'].map((role, channel) => {
    const share = role === 'LFE' ? 0.5 : 1 / (1 + 0.3 * channel)
    return Float64Array.from({ length: frames }, (_, n) => {
      const t = n / RATE
      bed += 0.1 * (2 * random() - 1 - bed)
      const bass = 0.05 * Math.abs(Math.sin(1.3 * t)) * Math.sin(2 * Math.PI * 55 * t)
      const isExcess = t >= EXCESS.from && t < EXCESS.to
      const excess = isExcess ? 0.3 * Math.sin(2 * Math.PI * 45 * t) : 0
      const since = t % 0.4
      const click = isExcess && role === 'L' ? 0.3 * Math.exp(-since / 0.002) * Math.sin(2 * Math.PI * 2800 * since) : 0
      return share * (bass + excess + 0.1 * bed) + click
    })
  })
  return sourceOf(planes, '5.1', RATE, 'int24')
}

let source: AudioSource
let segments: readonly Segment[]
let plan: LowEndPlan

function planOf(settings: Partial<FitSettings>): LowEndPlan | null {
  const products = segments.map((segment) => lowEndOfSegment(kernels, source, segment, 80))
  const joined = Float64Array.from(products.flatMap((part) => [...part]))
  return planLowEnd({ products: joined, sampleRateHz: RATE }, { ...defaultSettings(FIT_PARAMETERS), ...settings })
}

function jobOf(of: AudioSource, lowEnd: LowEndPlan | null, wishes: Partial<RenderJob> = {}): RenderJob {
  return {
    source: of,
    upmixed: null,
    hasLfe: false,
    frontSpread: 1,
    isLtRt: false,
    gain: { staticGainDb: 0, rideDb: null, ceilingDbtp: null, lowEnd },
    encoding: 'int24',
    ditherSeed: [1770, 775],
    stereo: true,
    ...wishes,
  }
}

function rendered(job: RenderJob, ends: readonly number[]) {
  const mark = kernels.arena.mark()
  const pieces = ends.map((end, index) => {
    const firstFrame = ends[index - 1] ?? 0
    const segment = { index, firstFrame, frameCount: end - firstFrame }
    const { multichannel, stereo } = renderSegment(kernels, job, segment)
    const copies = { multichannel: Buffer.from(multichannel), stereo: Buffer.from(stereo as Uint8Array) }
    kernels.arena.release(mark)
    return copies
  })
  return {
    multichannel: Buffer.concat(pieces.map((piece) => piece.multichannel)),
    stereo: Buffer.concat(pieces.map((piece) => piece.stereo)),
  }
}

beforeAll(() => {
  source = planted()
  segments = [0, 1].map((index) => segmentAt(index, source.frameCount, RATE))
  plan = planOf({ lowEnd: 'auto' }) as LowEndPlan
})

describe('excess low end', () => {
  test('is found where it was planted, and nowhere else', () => {
    const acting = [...plan.gainDb].flatMap((db, hop) => (db < 0 ? [hop / 10] : []))
    expect(acting[0]).toBeGreaterThan(EXCESS.from - 1.6)
    expect(acting.at(-1)).toBeLessThan(EXCESS.to + 1.6)
  })

  test('comes to its line; 200 Hz and up, the clicks, the LFE and all other times stay', () => {
    const before = `${folder}/before.raw`
    const after = `${folder}/after.raw`
    const bytes = new Uint8Array(source.frameCount * bytesPerFrame(source.format))
    source.readInto(bytes, 0, source.frameCount)
    writeFileSync(before, bytes)
    writeFileSync(after, rendered(jobOf(source, plan), [source.frameCount / 2, source.frameCount]).multichannel)
    const script = new URL('low-end-oracle.py', import.meta.url).pathname
    const args = [script, before, after, '80', String(EXCESS.from), String(EXCESS.to)]
    const read = JSON.parse(execFileSync('/usr/bin/python3', args, { encoding: 'utf8' }))
    expect(read.overBeforeDb).toBeGreaterThan(6)
    expect(read.overAfterDb).toBeLessThan(0.1)
    expect(read.underAfterDb).toBeGreaterThan(-1)
    expect(read.changeAbove200Db).toBeLessThan(0.3)
    expect(Math.abs(read.clickChangeDb)).toBeLessThan(0.2)
    expect(read).toMatchObject({ changedOutside: 0, lfeChanged: 0 })
  })

  test('by threshold and ratio it is turned down too, and more by a higher ratio', () => {
    const deepest = (lowEndRatio: number) => {
      const manual = planOf({ lowEnd: 'manual', lowEndThresholdDbfs: -15, lowEndRatio })
      return manual === null ? 0 : Math.min(...manual.gainDb)
    }
    expect(deepest(2)).toBeLessThan(-1)
    expect(deepest(8)).toBeLessThan(deepest(2) - 1)
    expect(deepest(1)).toBeCloseTo(0, 2)
  })

  test('solved bands are the low end', () => {
    expect(planOf({ bands: 'auto' })?.gainDb).toEqual(plan.gainDb)
    expect(planOf({ bands: 'manual' })).toBeNull()
  })

  test('off, nothing is planned', () => {
    expect(planOf({})).toBeNull()
  })
})

describe('the lock with low end, ride and ceiling at work', () => {
  test.each(['int24', 'int16'] as const)(
    '%s: the stereo is the fold-down of the words, wherever it is cut',
    (encoding) => {
      const rideDb = Float64Array.from({ length: SECONDS * 10 }, (_, k) => Math.round(4096 * Math.sin(k / 9)) / 4096)
      const gain = { staticGainDb: 6, rideDb, ceilingDbtp: -6, lowEnd: plan }
      const job = jobOf(source, plan, { gain, encoding })
      const one = rendered(job, [source.frameCount / 2, source.frameCount])
      const other = rendered(job, [1_303_212, 1_350_000, source.frameCount])
      expect(other.multichannel.equals(one.multichannel)).toBe(true)
      expect(other.stereo.equals(one.stereo)).toBe(true)
      const size = encoding === 'int16' ? 2 : 3
      const word = (of: Buffer, at: number) => of.readIntLE(at * size, size)
      let open = 0
      for (let n = 27 * RATE; n < 28 * RATE; n++) {
        const [l, r, c, , ls, rs] = Array.from({ length: 6 }, (_, channel) => word(one.multichannel, 6 * n + channel))
        // ITU-R BS.775-4 Table 2, k = sqrt(1/2), terms in channel order.
        const fold = (front: number, side: number) => Math.floor(front + Math.SQRT1_2 * c! + Math.SQRT1_2 * side + 0.5)
        if (fold(l!, ls!) !== word(one.stereo, 2 * n)) open++
        if (fold(r!, rs!) !== word(one.stereo, 2 * n + 1)) open++
      }
      expect(open).toBe(0)
    },
  )
})

describe('an upmix whose low end is turned down', () => {
  test.each(['int24', 'int16'] as const)('%s: both laws hold', (encoding) => {
    const channels = [0, 1].map((channel) => channelOf(source, channel))
    const master = sourceOf(channels, '2.0', RATE, 'float32')
    const extracted = [
      Float32Array.from(channels[0]!, (x, n) => 0.4 * (x + channels[1]![n]!)),
      Float32Array.from(channels[0]!, (x) => 0.3 * x),
      Float32Array.from(channels[1]!, (x) => 0.2 * x),
    ]
    const upmixed: PlaneStore = {
      read: (plane, frame, samples) => samples.set(extracted[plane]!.subarray(frame, frame + samples.length)),
      write: () => {
        throw new Error('a render only reads')
      },
    }
    const gain = { staticGainDb: 3, rideDb: null, ceilingDbtp: -5, lowEnd: plan }
    const job = jobOf(master, plan, { upmixed, gain, encoding })
    const mark = kernels.arena.mark()
    const segment = segmentAt(1, master.frameCount, RATE)
    const { multichannel, stereo, gain: total, overs } = renderSegment(kernels, job, segment)
    const words = { encoding, sampleRateHz: RATE }
    const five = fileOf(multichannel, { ...words, channelCount: 6 }, '5.1', segment)
    const two = fileOf(stereo as Uint8Array, { ...words, channelCount: 2 }, '2.0', segment)
    // Law A by the comparison that judges deliveries, itself tested against NumPy.
    expect(compareFoldDown(kernels, five, two, segment).differingSamples).toBe(0)
    const against = compareWithMaster(kernels, two, treatedMaster(kernels, job, segment), segment, total)
    expect(against.largestDifferenceLsb).toBeLessThanOrEqual(encoding === 'int16' ? 1.5 + 1e-6 : 0.5 + 1e-6)
    // Against the master as it was, it is another low end: the treatment did act.
    expect(compareWithMaster(kernels, two, master, segment, total).largestDifferenceLsb).toBeGreaterThan(1000)
    expect(overs).toBe(0)
    kernels.arena.release(mark)
  })
})

function channelOf(of: AudioSource, channel: number): Float64Array {
  const bytes = Buffer.alloc(of.frameCount * bytesPerFrame(of.format))
  of.readInto(bytes, 0, of.frameCount)
  return Float64Array.from({ length: of.frameCount }, (_, n) => bytes.readIntLE((6 * n + channel) * 3, 3) / 2 ** 23)
}

/** The words of one segment as a file of the whole programme. */
function fileOf(words: Uint8Array, format: PcmFormat, layout: LayoutName, segment: Segment): AudioSource {
  const frameBytes = bytesPerFrame(format)
  return {
    format,
    layout,
    frameCount: segment.firstFrame + segment.frameCount,
    readInto(bytes, frame, count) {
      const first = frame - segment.firstFrame
      bytes.set(words.subarray(first * frameBytes, (first + count) * frameBytes))
    },
  }
}

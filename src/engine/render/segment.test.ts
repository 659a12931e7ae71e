import { afterEach, describe, expect, test } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { seededRandom } from '../../../test/testkit/programmes.ts'
import { planesOf, sourceOf } from '../../../test/testkit/sources.ts'
import {
  type AudioSource,
  bytesPerFrame,
  Cancelled,
  FOLD_DOWN_K,
  foldDownCoefficients,
  type GainPlan,
  LAYOUTS,
  type LayoutName,
  type PlaneStore,
  roundToGainStep,
  type SampleEncoding,
  type Segment,
  segmentAt,
} from '../../domain/index.ts'
import { type RenderedSegment, type RenderJob, renderSegment } from './segment.ts'

/** As much as a worker has at 48 kHz. */
const kernels = loadKernels(192 * 1024 * 1024)
const untouched = kernels.arena.mark()
afterEach(() => kernels.arena.release(untouched))

const RATE = 48000
const SEED = [0x6a09e667, 0xbb67ae85] as const

/** Chords that swell and die away over noise, with hits: what makes a ceiling start, hold and let go. */
function musicLike(frameCount: number, channelCount: number, peak: number, seed = 1): Float64Array[] {
  const random = seededRandom(seed)
  const voices = Array.from({ length: 12 }, (_, n) => ({
    turn: (2 * Math.PI * 55 * 2 ** (n / 1.7)) / RATE,
    phase: 6 * random(),
    beat: (2 * Math.PI * (0.2 + random())) / RATE,
    pan: Array.from({ length: channelCount }, () => 2 * random() - 1),
  }))
  const planes = Array.from({ length: channelCount }, () => new Float64Array(frameCount))
  for (let frame = 0; frame < frameCount; frame++) {
    const hit = Math.exp(-((frame + 3000) % 17001) / 900)
    const tones = voices.map(({ turn, phase, beat }) => Math.sin(turn * frame + phase) * (1 + Math.sin(beat * frame)))
    planes.forEach((plane, channel) => {
      const chord = tones.reduce((sum, tone, n) => sum + tone * (voices[n]!.pan[channel] as number), 0)
      plane[frame] = peak * (0.08 * chord + (0.02 + 0.8 * hit) * (2 * random() - 1))
    })
  }
  return planes
}

/** Centre and surrounds that share enough with the master to make the fronts differ from it; the LFE is a tone. */
function crudeUpmix(source: AudioSource, lfeLevel = 0.3): PlaneStore {
  const [left, right] = planesOf(source) as [Float64Array, Float64Array]
  const planes = [
    Float32Array.from(left, (sample, n) => 0.65 * (sample + (right[n] as number)) * FOLD_DOWN_K),
    Float32Array.from(left, (sample, n) => 0.3 * (sample - (right[n] as number))),
    Float32Array.from(right, (sample, n) => 0.25 * (sample - (left[n] as number))),
    Float32Array.from(left, (_, n) => lfeLevel * Math.sin((2 * Math.PI * 40 * n) / RATE)),
  ]
  return {
    read: (plane, frame, samples) =>
      samples.set((planes[plane] as Float32Array).subarray(frame, frame + samples.length)),
    write: () => {
      throw new Error('a render only reads')
    },
  }
}

function jobOf(source: AudioSource, wishes: Partial<RenderJob> = {}): RenderJob {
  return {
    source,
    upmixed: null,
    hasLfe: false,
    frontSpread: 1,
    isLtRt: false,
    gain: { staticGainDb: 0, rideDb: null, ceilingDbtp: null },
    encoding: 'int24',
    ditherSeed: SEED,
    stereo: true,
    ...wishes,
  }
}

const whole = (source: AudioSource): Segment => ({ index: 0, firstFrame: 0, frameCount: source.frameCount })

/** The channels of interleaved words as whole numbers. */
function wordsOf(bytes: Uint8Array, channelCount: number, encoding: 'int16' | 'int24'): Float64Array[] {
  const size = encoding === 'int16' ? 2 : 3
  const view = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length)
  return Array.from({ length: channelCount }, (_, c) =>
    Float64Array.from({ length: bytes.length / size / channelCount }, (_, n) =>
      view.readIntLE((n * channelCount + c) * size, size),
    ),
  )
}

/** The fold-down by BS.775-4 Table 2 in doubles, rounded half up. */
function foldOf(channels: readonly Float64Array[], layout: LayoutName): Float64Array[] {
  const weights = foldDownCoefficients(layout)
  return ([0, 1] as const).map((side) =>
    (channels[0] as Float64Array).map((_, n) =>
      Math.floor(channels.reduce((sum, x, c) => sum + weights[c]![side] * (x[n] as number), 0) + 0.5),
    ),
  )
}

/** How many samples differ between two sets of channels; quicker than a deep comparison. */
function differing(a: readonly Float64Array[], b: readonly Float64Array[]): number {
  expect(a.map((channel) => channel.length)).toEqual(b.map((channel) => channel.length))
  return a.reduce((sum, channel, c) => sum + channel.filter((word, n) => word !== b[c]?.[n]).length, 0)
}

/** Samples of the rendered stereo that are not the rounded fold-down of the rendered channels. */
function openSamples(rendered: RenderedSegment, layout: LayoutName, encoding: 'int16' | 'int24' = 'int24'): number {
  const channels = wordsOf(rendered.multichannel, LAYOUTS[layout].length, encoding)
  return differing(foldOf(channels, layout), wordsOf(rendered.stereo as Uint8Array, 2, encoding))
}

const sameBytes = (a: Uint8Array | null, b: Uint8Array | null) => Buffer.from(a as Uint8Array).equals(b as Uint8Array)

/** Largest distance of the stereo words from master x gain, in steps. */
function largestError(rendered: RenderedSegment, source: AudioSource, encoding: 'int16' | 'int24'): number {
  const steps = encoding === 'int16' ? 32768 : 8388608
  const stereo = wordsOf(rendered.stereo as Uint8Array, 2, encoding)
  return planesOf(source).reduce((most, plane, side) => {
    const errors = plane.map((sample, n) =>
      Math.abs((stereo[side]![n] as number) - sample * steps * (rendered.gain[n] as number)),
    )
    return errors.reduce((a, b) => Math.max(a, b), most)
  }, 0)
}

type Words = [Float64Array, Float64Array, Float64Array, Float64Array, Float64Array, Float64Array]

const FRAMES = RATE
const RIDE: GainPlan = {
  staticGainDb: roundToGainStep(-2.7),
  rideDb: Float64Array.from({ length: 60 }, (_, k) => roundToGainStep(-1.5 * (1 + Math.sin(k / 3)))),
  ceilingDbtp: null,
}
const PLANS: readonly [string, GainPlan][] = [
  ['no gain', { staticGainDb: 0, rideDb: null, ceilingDbtp: null }],
  ['static gain', { staticGainDb: roundToGainStep(-3.37), rideDb: null, ceilingDbtp: null }],
  ['a ride', RIDE],
  ['a ceiling 9 dB into the peaks', { staticGainDb: roundToGainStep(6.1), rideDb: null, ceilingDbtp: -3 }],
  ['ride and ceiling', { ...RIDE, ceilingDbtp: -10 }],
]

describe('the fold-down lock of an upmix', () => {
  const float = sourceOf(musicLike(FRAMES, 2, 0.5), '2.0', RATE, 'float32')
  const short = sourceOf(musicLike(FRAMES, 2, 0.5), '2.0', RATE, 'int16')
  const rows = (['int24', 'int16'] as const).flatMap((encoding) =>
    [float, short].flatMap((source) => PLANS.map(([name, gain]) => ({ encoding, source, name, gain }))),
  )

  test.each(rows)('$encoding from $source.format.encoding, $name: both laws hold', ({ encoding, source, gain }) => {
    const job = jobOf(source, { upmixed: crudeUpmix(source), hasLfe: true, gain, encoding })
    const rendered = renderSegment(kernels, job, whole(source))
    // Law A: the rounded fold-down of the 5.1 is the stereo, every sample.
    expect(openSamples(rendered, '5.1', encoding)).toBe(0)
    // Law B: the stereo is master x gain within half a step, plus one step where it is dithered.
    const isDithered = encoding === 'int16' && !(source === short && rendered.gain.every((value) => value === 1))
    expect(largestError(rendered, source, encoding)).toBeLessThanOrEqual((isDithered ? 1.5 : 0.5) + 1e-6)
    expect(rendered.overs).toBe(0)
  })

  test('a 16-bit master under no gain is delivered as it is at 16 bit', () => {
    const rendered = renderSegment(
      kernels,
      jobOf(short, { upmixed: crudeUpmix(short), encoding: 'int16' }),
      whole(short),
    )
    const bytes = new Uint8Array(short.frameCount * bytesPerFrame(short.format))
    short.readInto(bytes, 0, short.frameCount)
    expect(sameBytes(rendered.stereo, bytes)).toBe(true)
  })

  test('spread fronts open it: the stereo stays the master, the fold-down does not', () => {
    const job = jobOf(float, { upmixed: crudeUpmix(float), frontSpread: 1.3 })
    const rendered = renderSegment(kernels, job, whole(float))
    expect(largestError(rendered, float, 'int24')).toBeLessThanOrEqual(0.5)
    expect(openSamples(rendered, '5.1')).toBeGreaterThan(FRAMES)
  })

  test.each(rows)('$encoding from $source.format.encoding, $name: an Lt/Rt comes back from its five words', (row) => {
    const { encoding, source, gain } = row
    const job = jobOf(source, { upmixed: crudeUpmix(source), isLtRt: true, hasLfe: true, gain, encoding })
    const rendered = renderSegment(kernels, job, whole(source))
    const [l, r, c, , ls, rs] = wordsOf(rendered.multichannel, 6, encoding) as Words
    // ATSC A/52 7.8.2 without the turn of phase (from memory), in doubles, rounded half up.
    const encoded = (front: Float64Array, sign: 1 | -1) =>
      front.map((x, n) => Math.floor(x + Math.SQRT1_2 * (c[n]! + sign * (ls[n]! + rs[n]!)) + 0.5))
    expect(differing([encoded(l, -1), encoded(r, 1)], wordsOf(rendered.stereo as Uint8Array, 2, encoding))).toBe(0)
    expect(rendered.overs).toBe(0)
    const ceiling =
      gain.ceilingDbtp === null ? null : 10 ** (gain.ceilingDbtp / 20) * 2 ** (encoding === 'int16' ? 15 : 23)
    if (ceiling !== null) for (const words of [l, r]) expect(words.every((x) => Math.abs(x) <= ceiling)).toBe(true)
  })

  test('a front beyond full scale is held and counted without a ceiling, and does not occur with one', () => {
    // Out of phase at full scale with a centre that is not theirs: the left front would reach 1 + k.
    const planes = [1, -1].map((sign) => new Float64Array(4800).fill(sign * 0.99))
    const source = sourceOf(planes, '2.0', RATE, 'int24')
    const upmixed = {
      ...crudeUpmix(source),
      read: (plane: number, _: number, x: Float32Array) => void x.fill(plane ? 0 : -0.9),
    }
    const free = renderSegment(kernels, jobOf(source, { upmixed }), whole(source))
    expect(free.overs).toBe(4800)
    expect(wordsOf(free.multichannel, 6, 'int24')[0]?.every((word) => word === 8388607)).toBe(true)
    const gain = { staticGainDb: 0, rideDb: null, ceilingDbtp: 0 }
    const held = renderSegment(kernels, jobOf(source, { upmixed, gain }), whole(source))
    expect(held.overs).toBe(0)
    expect(openSamples(held, '5.1')).toBe(0)
  })
})

describe('a programme that keeps its layout', () => {
  test.each(['5.0', '5.1', '7.1'] as const)('%s: the stereo is the rounded fold-down of the words', (layout) => {
    const source = sourceOf(musicLike(RATE, LAYOUTS[layout].length, 0.25), layout, RATE, 'float64')
    for (const encoding of ['int24', 'int16'] as const) {
      const gain = { staticGainDb: -1, rideDb: null, ceilingDbtp: -6 }
      const rendered = renderSegment(kernels, jobOf(source, { gain, encoding }), whole(source))
      expect(openSamples(rendered, layout, encoding)).toBe(0)
      expect(rendered.overs).toBe(0)
      expect(rendered.lfeGain === null).toBe(layout === '5.0')
    }
  })

  test.each(['mono', '2.0'] as const)('%s has no fold-down', (layout) => {
    const source = sourceOf(musicLike(4000, LAYOUTS[layout].length, 0.5), layout)
    expect(renderSegment(kernels, jobOf(source), whole(source)).stereo).toBeNull()
  })

  test.each(['int16', 'int24'] as const)('below the ceiling and without gain %s passes bit for bit', (encoding) => {
    const source = sourceOf(musicLike(RATE, 6, 0.2), '5.1', RATE, encoding)
    const gain = { staticGainDb: 0, rideDb: null, ceilingDbtp: -1 }
    const rendered = renderSegment(kernels, jobOf(source, { gain, encoding }), whole(source))
    const bytes = new Uint8Array(rendered.multichannel.length)
    source.readInto(bytes, 0, source.frameCount)
    expect(sameBytes(rendered.multichannel, bytes)).toBe(true)
    expect(rendered.alteration).toMatchObject({ events: 0, places: [], deepestDb: 0, framesBelow01Db: 0 })
  })
})

describe('the ceiling in a render', () => {
  const gain = { staticGainDb: 8, rideDb: null, ceilingDbtp: -4 }

  test('no sample of any file passes it, and it takes nothing where nothing is asked', () => {
    const source = sourceOf(musicLike(FRAMES, 2, 0.5), '2.0')
    const {
      multichannel,
      stereo,
      gain: total,
      alteration,
    } = renderSegment(kernels, jobOf(source, { upmixed: crudeUpmix(source), hasLfe: true, gain }), whole(source))
    const highest = 10 ** (-4 / 20) * 8388608
    for (const words of [...wordsOf(multichannel, 6, 'int24'), ...wordsOf(stereo as Uint8Array, 2, 'int24')]) {
      expect(words.every((word) => Math.abs(word) <= highest)).toBe(true)
    }
    const common = 10 ** (8 / 20)
    const reduced = total.filter((value) => value < common * (1 - 1e-12)).length
    expect(total.every((value) => value <= common * (1 + 1e-12))).toBe(true)
    expect(reduced).toBeGreaterThan(FRAMES / 100)
    expect(reduced).toBeLessThan(FRAMES)
    const lasting = alteration.places.reduce((sum, place) => sum + place.endSeconds - place.startSeconds, 0)
    expect(Math.round(lasting * RATE)).toBe(reduced)
    expect(alteration.events).toBe(alteration.places.length)
    const deepest = 20 * Math.log10(total.reduce((a, b) => Math.min(a, b)) / common)
    expect(alteration.deepestDb).toBeCloseTo(deepest, 9)
    for (const [db, count] of [
      [-0.1, alteration.framesBelow01Db],
      [-3, alteration.framesBelow3Db],
    ] as const) {
      expect(total.filter((value) => 20 * Math.log10(value / common) < db).length).toBe(count)
    }
  })

  test('the LFE has one of its own: it moves nobody, and nobody moves it', () => {
    const source = sourceOf(musicLike(RATE, 2, 0.5), '2.0')
    const render = (lfeLevel: number, level: number) => {
      const louder = sourceOf(
        planesOf(source).map((plane) => plane.map((sample) => sample * level)),
        '2.0',
      )
      const job = jobOf(louder, { upmixed: crudeUpmix(louder, lfeLevel), hasLfe: true, gain })
      return renderSegment(kernels, job, whole(louder))
    }
    const [soft, loud, quietOthers] = [render(0.1, 1), render(2, 1), render(2, 0.01)]
    expect(differing([loud.gain], [soft.gain])).toBe(0)
    expect(sameBytes(loud.stereo, soft.stereo)).toBe(true)
    expect(differing([quietOthers.lfeGain as Float64Array], [loud.lfeGain as Float64Array])).toBe(0)
    expect(soft.alteration.lfe?.events).toBe(0)
    expect(loud.alteration.lfe?.deepestDb).toBeLessThan(-10)
  })
})

describe('segments', () => {
  /** Renders frames [0, count) in pieces that end at these frames, and joins the bytes. */
  function inPieces(job: RenderJob, ends: readonly number[]) {
    const pieces = ends.map((end, index) => {
      const firstFrame = index === 0 ? 0 : (ends[index - 1] as number)
      return renderSegment(kernels, job, { index, firstFrame, frameCount: end - firstFrame })
    })
    return {
      multichannel: Buffer.concat(pieces.map((piece) => piece.multichannel)),
      stereo: Buffer.concat(pieces.map((piece) => piece.stereo as Uint8Array)),
      gain: Float64Array.from(pieces.flatMap((piece) => [...piece.gain])),
      events: pieces.reduce((sum, piece) => sum + piece.alteration.events, 0),
    }
  }

  const GROUPS = { grouping: 'groups', mostDb: 1 } as const
  test.each([
    ['int24', 'all channels linked', null],
    ['int16', 'all channels linked', null],
    ['int24', 'groups limited by themselves first', GROUPS],
    ['int16', 'groups limited by themselves first', GROUPS],
  ] as const)('%s, %s: the cut changes no bit, with ride, dither and ceiling at work', (encoding, _, ceilingLink) => {
    const source = sourceOf(musicLike(6 * RATE, 2, 0.6), '2.0', RATE, 'float32')
    const gain = { ...RIDE, staticGainDb: 6, ceilingDbtp: -5, ceilingLink }
    const job = jobOf(source, { upmixed: crudeUpmix(source), hasLfe: true, gain, encoding })
    const one = inPieces(job, [source.frameCount])
    for (const ends of [[100, 4 * RATE + 4], [3 * RATE - 44, 5 * RATE], [2 * RATE]]) {
      const many = inPieces(job, [...ends, source.frameCount])
      expect(many.multichannel.equals(one.multichannel)).toBe(true)
      expect(many.stereo.equals(one.stereo)).toBe(true)
      expect(differing([many.gain], [one.gain])).toBe(0)
      expect(many.events).toBe(one.events)
    }
  })

  test('a 5.1 with its stereo, cut on the grid at 44.1 kHz', () => {
    const source = sourceOf(musicLike(27 * 44100, 6, 0.4), '5.1', 44100, 'int24')
    const job = jobOf(source, { gain: { staticGainDb: 5, rideDb: null, ceilingDbtp: -6 } })
    const border = segmentAt(1, source.frameCount, 44100).firstFrame
    const around = { index: 0, firstFrame: border - 44100, frameCount: source.frameCount - border + 44100 }
    const [first, second] = [0, 1].map((index) =>
      renderSegment(kernels, job, segmentAt(index, source.frameCount, 44100)),
    )
    const together = renderSegment(kernels, job, around)
    const bytes = Buffer.concat([first!.multichannel.slice(-44100 * 18), second!.multichannel])
    expect(bytes.equals(together.multichannel)).toBe(true)
  })

  test('keep the memory of their words and gain alone, whatever happens', () => {
    const source = sourceOf(musicLike(4000, 2, 0.5), '2.0')
    const room = 4000 * (2 * 3 + 8)
    renderSegment(kernels, jobOf(source), whole(source))
    expect(() => renderSegment(kernels, jobOf(source), whole(source), { aborted: true })).toThrow(Cancelled)
    expect(kernels.arena.mark() - untouched).toBeGreaterThanOrEqual(2 * room)
    expect(kernels.arena.mark() - untouched).toBeLessThan(2 * room + 1024)
  })

  test.each([
    ['an upmix with LFE', '2.0', 'int24'],
    ['a 7.1', '7.1', 'int24'],
  ] as const)('of %s fit into the memory of a worker at 48 kHz', (_, layout, encoding) => {
    const silent = segmentAt(1, 60 * RATE, RATE)
    const source = {
      ...sourceOf([], layout, RATE, encoding),
      frameCount: 60 * RATE,
      readInto: (x: Uint8Array) => void x.fill(0),
    }
    const upmixed = layout === '2.0' ? { ...crudeUpmix(sourceOf([], '2.0')), read: () => {} } : null
    const gain = { staticGainDb: 0, rideDb: null, ceilingDbtp: -1 }
    const rendered = renderSegment(kernels, jobOf(source, { upmixed, hasLfe: true, gain }), silent)
    expect(rendered.multichannel.length).toBe(silent.frameCount * (layout === '7.1' ? 24 : 18))
  })
})

describe('hard inputs', () => {
  test.each<[string, SampleEncoding, (n: number) => number]>([
    ['not a number', 'float32', (n) => (n % 7 === 0 ? Number.NaN : 0.5)],
    ['infinite', 'float64', (n) => (n % 5 === 0 ? Number.POSITIVE_INFINITY : -0.5)],
    ['enormous', 'float32', (n) => (n % 3 === 0 ? 3e38 : -3e38)],
    ['denormal', 'float64', () => 5e-324],
    ['full-scale square', 'int16', (n) => (n % 100 < 50 ? 1 : -1)],
    ['a full-scale offset', 'int24', () => 1],
  ])('%s samples: words that fit, gains that are numbers, the lock closed', (_, encoding, sample) => {
    const plane = Float64Array.from({ length: 4801 }, (_, n) => sample(n))
    const source = sourceOf([plane, plane.map((x) => -x)], '2.0', RATE, encoding)
    const finite = sourceOf(
      [plane, plane].map((x) => x.map((y) => (Math.abs(y) <= 1 ? y : 0))),
      '2.0',
    )
    for (const ceilingDbtp of [-1, -60]) {
      const gain = { staticGainDb: 3, rideDb: null, ceilingDbtp }
      const rendered = renderSegment(kernels, jobOf(source, { upmixed: crudeUpmix(finite), gain }), whole(source))
      expect(rendered.overs).toBe(0)
      expect(rendered.gain.every((value) => value > 0 && value <= 10 ** (3 / 20) + 1e-9)).toBe(true)
      expect(openSamples(rendered, '5.1')).toBe(0)
    }
  })
})

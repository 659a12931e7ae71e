// The ceiling and the fold-down lock as outside meters see them, on hostile signals and on real music of the Debian
// package singularity-music (CC BY-SA 3.0).
import { execFileSync } from 'node:child_process'
import { writeFileSync } from 'node:fs'
import { beforeAll, describe, expect, test } from 'vitest'
import { type AudioSource, FOLD_DOWN_K, type PlaneStore } from '../../src/domain/index.ts'
import { type RenderedSegment, type RenderJob, renderSegment } from '../../src/engine/render/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { seededRandom } from '../testkit/programmes.ts'
import { sourceOf } from '../testkit/sources.ts'
import { run, temporaryFolder } from '../testkit/wav.ts'
import { libebur128Probe } from './outside-meters.ts'

const MUSIC = '/usr/share/games/singularity/music'
const RATE = 48000
const folder = temporaryFolder()
const kernels = loadKernels(100_000_000)

type Word = 'int16' | 'int24'

function oracle(...args: readonly (string | number)[]): Record<string, number> {
  const script = new URL('render-oracle.py', import.meta.url).pathname
  return JSON.parse(execFileSync('/usr/bin/python3', [script, ...args.map(String)], { encoding: 'utf8' }))
}

/** True peak of raw words by two meters that are not ours, in dBTP. */
function outsidePeaks(path: string, frameCount: number, channelCount: 2 | 6, word: Word) {
  const bits = word === 'int16' ? 16 : 24
  const shape = [0, frameCount, channelCount, RATE, bits, 'fast'].map(String)
  const { truePeaks } = JSON.parse(execFileSync(libebur128Probe(), [path, ...shape], { encoding: 'utf8' }))
  const layout = channelCount === 2 ? 'stereo' : '5.1'
  const shapeOfPcm = ['-f', `s${bits}le`, '-ar', String(RATE), '-ac', String(channelCount), '-channel_layout', layout]
  const filter = ['-af', 'ebur128=peak=true:metadata=1,ametadata=print:file=-', '-f', 'null', '-']
  const printed = run('ffmpeg', '-v', 'error', ...shapeOfPcm, '-i', path, ...filter).toString()
  const read = [...printed.matchAll(/true_peaks_ch\d+=(.*)$/gm)].map((match) => Number(match[1]))
  return { libebur128: 20 * Math.log10(Math.max(...truePeaks)), ffmpeg: 20 * Math.log10(Math.max(...read)) }
}

/** Three outside meters read at most the ceiling on both files, and the fold-down of one is the other. */
function expectHeld(name: string, rendered: RenderedSegment, frameCount: number, word: Word, ceilingDbtp: number) {
  const { six, two } = written(name, rendered)
  for (const [path, channels] of [
    [six, 6],
    [two, 2],
  ] as const) {
    const read = outsidePeaks(path, frameCount, channels, word)
    expect(read.libebur128).toBeLessThanOrEqual(ceilingDbtp)
    expect(read.ffmpeg).toBeLessThanOrEqual(ceilingDbtp + FFMPEG_ROUNDING_DB)
  }
  const read = oracle('words', six, two, word === 'int16' ? 16 : 24)
  expect(read).toMatchObject({ differing: 0, differingByRint: 0 })
  const loudest = Math.max(read.six as number, read.two as number)
  expect(loudest).toBeLessThanOrEqual(ceilingDbtp)
  return loudest
}

/** FFmpeg prints three decimals of the linear peak. */
const FFMPEG_ROUNDING_DB = 0.007

function jobOf(source: AudioSource, wishes: Partial<RenderJob>): RenderJob {
  return {
    source,
    upmixed: null,
    hasLfe: false,
    frontSpread: 1,
    isLtRt: false,
    gain: { staticGainDb: 0, rideDb: null, ceilingDbtp: null },
    encoding: 'int24',
    ditherSeed: [1770, 775],
    stereo: true,
    ...wishes,
  }
}

/** A plain matrix for centre and surrounds: the lock and the ceiling must hold whatever they are. */
function crudeUpmix(left: Float64Array, right: Float64Array): PlaneStore {
  const planes = [
    Float32Array.from(left, (sample, n) => 0.65 * FOLD_DOWN_K * (sample + right[n]!)),
    Float32Array.from(left, (sample, n) => 0.3 * (sample - right[n]!)),
    Float32Array.from(right, (sample, n) => 0.25 * (sample - left[n]!)),
  ]
  return {
    read: (plane, frame, samples) => samples.set(planes[plane]!.subarray(frame, frame + samples.length)),
    write: () => {
      throw new Error('a render only reads')
    },
  }
}

function written(name: string, rendered: RenderedSegment): { six: string; two: string } {
  const [six, two] = [`${folder}/${name}-51.raw`, `${folder}/${name}-20.raw`]
  writeFileSync(six, rendered.multichannel)
  writeFileSync(two, rendered.stereo as Uint8Array)
  return { six, two }
}

/** Swells in over 50 ms: FFmpeg mirrors what precedes the first frame, which no other meter does. */
const swell = (x: Float64Array) => x.map((sample, n) => sample * Math.min(1, n / 2400))

function hostileSignals(): readonly [string, Float64Array][] {
  const random = seededRandom(16)
  const frames = RATE
  const make = (at: (n: number) => number) => swell(Float64Array.from({ length: frames }, (_, n) => at(n)))
  const gaussian = () => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random())
  const chord = (n: number) =>
    [110, 138.6, 220, 1234, 5678].reduce((sum, hz) => sum + Math.sin((6.2832 * hz * n) / RATE), 0)
  let phase = 0
  return [
    ['white noise 16 dB over', make(() => 4.5 * gaussian())],
    ['random full scale', make(() => (random() < 0.5 ? -1 : 1))],
    ['fs/4 at 45 degrees', make((n) => Math.sin((Math.PI * n) / 2 + Math.PI / 4))],
    ['square', make((n) => Math.sign(Math.sin((2 * Math.PI * 997 * n) / RATE + 0.1)))],
    ['alternating signs that flip', make((n) => (n % 2 ? 1 : -1) * (Math.floor(n / 37) % 2 ? 1 : -1))],
    ['clicks', make((n) => (n % 4801 === 0 ? 2 : n % 4801 === 7 ? -2 : 0))],
    [
      'sweep of 20 to 22 kHz',
      make((n) => {
        phase += (2 * Math.PI * (20000 + (2000 * n) / frames)) / RATE
        return Math.sin(phase)
      }),
    ],
    ['clipped chord', make((n) => Math.max(-1, Math.min(1, chord(n))))],
  ]
}

describe('hostile signals, 3 dB of gain into a ceiling of -3 dBTP', () => {
  const gain = { staticGainDb: 3, rideDb: null, ceilingDbtp: -3 }

  test.each(hostileSignals())(
    '%s: three outside meters read at most the ceiling, and the lock is closed',
    (name, signal) => {
      const stereo = [signal, signal.map((sample) => 0.8 * sample)] as const
      const source = sourceOf(stereo, '2.0', RATE)
      for (const encoding of ['int24', 'int16'] as const) {
        const rendered = renderSegment(kernels, jobOf(source, { upmixed: crudeUpmix(...stereo), gain, encoding }), {
          index: 0,
          firstFrame: 0,
          frameCount: source.frameCount,
        })
        expect(rendered.overs).toBe(0)
        expectHeld(`${name.replace(/\W+/g, '-')}-${encoding}`, rendered, source.frameCount, encoding, -3)
      }
    },
  )
})

describe('real music', () => {
  const SECONDS = 5
  const tracks = ['Enemy Unknown', 'Inevitable', 'Nebula'] as const
  const decoded = new Map<string, readonly [Float64Array, Float64Array]>()

  beforeAll(() => {
    for (const track of tracks) {
      const cut = ['-ss', '60', '-t', String(SECONDS), '-i', `${MUSIC}/${track}.ogg`]
      const bytes = run('ffmpeg', '-v', 'error', ...cut, '-ac', '2', '-ar', String(RATE), '-f', 'f64le', '-')
      const samples = new Float64Array(Uint8Array.from(bytes).buffer)
      const side = (first: number) => swell(samples.filter((_, n) => n % 2 === first))
      decoded.set(track, [side(0), side(1)])
    }
  })

  const rows = tracks.flatMap((track) => [
    { track, driveDb: 6, encoding: 'int24' as const },
    { track, driveDb: 10, encoding: 'int16' as const },
  ])

  test.each(rows)('$track, driven $driveDb dB into the ceiling, $encoding', ({ track, driveDb, encoding }) => {
    const stereo = decoded.get(track) as readonly [Float64Array, Float64Array]
    const peak = Math.max(...stereo.map((x) => x.reduce((most, sample) => Math.max(most, Math.abs(sample)), 0)))
    const staticGainDb = Math.round((driveDb - 2.1 - 20 * Math.log10(peak)) * 4096) / 4096
    const source = sourceOf(stereo, '2.0', RATE, 'float32')
    const job = jobOf(source, {
      upmixed: crudeUpmix(...stereo),
      gain: { staticGainDb, rideDb: null, ceilingDbtp: -2.1 },
      encoding,
    })
    const rendered = renderSegment(kernels, job, { index: 0, firstFrame: 0, frameCount: source.frameCount })
    expect(rendered.alteration.deepestDb).toBeLessThan(-driveDb + 0.5)
    // The line is -2.0 dBTP and the aim 0.1 dB below it: every meter reads at most the aim, and no level is thrown away.
    const loudest = expectHeld(`${track.replace(' ', '-')}-${encoding}`, rendered, source.frameCount, encoding, -2.1)
    expect(loudest).toBeGreaterThan(-2.2)
  })
})

describe('steady tones 6 dB over the ceiling', () => {
  // The gain must stand still over a period: hold of 17 ms from 30 Hz on. Below, it follows the wave and distorts.
  test.each([
    [20, -45],
    [30, -120],
    [50, -120],
    [100, -120],
    [1000, -120],
    [10000, -120],
  ])('%i Hz: THD+N at most %i dB', (hertz, worstDb) => {
    const tone = swell(Float64Array.from({ length: 3 * RATE }, (_, n) => Math.sin((2 * Math.PI * hertz * n) / RATE)))
    const source = sourceOf([tone, tone], '2.0', RATE)
    const gain = { staticGainDb: 4, rideDb: null, ceilingDbtp: -2 }
    const whole = { index: 0, firstFrame: 0, frameCount: source.frameCount }
    const rendered = renderSegment(kernels, jobOf(source, { gain }), whole)
    const path = `${folder}/tone-${hertz}.f64`
    writeFileSync(path, tone.map((sample, n) => sample * rendered.gain[n]!).slice(RATE, 2 * RATE))
    const { thdDb, levelDb } = oracle('distortion', path, hertz) as { thdDb: number; levelDb: number }
    expect(thdDb).toBeLessThanOrEqual(worstDb)
    expect(levelDb).toBeLessThanOrEqual(-2)
    expect(levelDb).toBeGreaterThan(-2.03)
  })
})

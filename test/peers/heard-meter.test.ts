// The meters of the desk's player beside FFmpeg and libebur128 on real music of the Debian package singularity-music
// (CC BY-SA 3.0), and on the steady tones of EBU Tech 3341 v4.
import { execFileSync } from 'node:child_process'
import { writeFileSync } from 'node:fs'
import { beforeAll, describe, expect, test } from 'vitest'
import { framesPerHop } from '../../src/domain/index.ts'
import { HeardMeter, type MeterReading } from '../../src/web/listen/heard-meter.ts'
import { amplitude, decimatedBurst, fadedSine, type Signal, sine } from '../conformance/signals.ts'
import { temporaryFolder } from '../testkit/wav.ts'
import { readByLibebur128 } from './outside-meters.ts'

const RATE = 48000
const SECONDS = 30
const MUSIC = '/usr/share/games/singularity/music/Deprecation.ogg'
const folder = temporaryFolder()
const wav = `${folder}/music.wav`

/** A reading after every 100 ms. */
function readings({ layout, planes }: Signal): readonly MeterReading[] {
  const meter = new HeardMeter(RATE, layout, planes.length)
  const frame = new Float64Array(planes.length)
  const found: MeterReading[] = []
  for (let i = 0; i < planes[0]!.length; i++) {
    for (const [output, plane] of planes.entries()) frame[output] = plane[i]!
    meter.add(frame)
    if ((i + 1) % framesPerHop(RATE) === 0) found.push(meter.read())
  }
  return found
}

describe('real music', () => {
  let ours: readonly MeterReading[]
  let planes: readonly Float64Array[]

  beforeAll(() => {
    const out = ['-ar', String(RATE), '-ac', '2', '-c:a', 'pcm_s24le']
    execFileSync('ffmpeg', ['-v', 'error', '-y', '-ss', '20', '-i', MUSIC, '-t', String(SECONDS), ...out, wav])
    const raw = execFileSync('ffmpeg', ['-v', 'error', '-i', wav, '-f', 'f64le', '-'], { maxBuffer: 1 << 28 })
    const samples = new Float64Array(new Uint8Array(raw).buffer)
    planes = [0, 1].map((side) => samples.filter((_, i) => i % 2 === side))
    ours = readings({ layout: '2.0', planes })
  })

  test('momentary and short-term of every 100 ms are those of FFmpeg, within 0.1 LU', () => {
    const filter = ['-af', 'ebur128=metadata=1,ametadata=print:file=-', '-f', 'null', '-']
    const printed = execFileSync('ffmpeg', ['-v', 'error', '-i', wav, ...filter], {
      encoding: 'utf8',
      maxBuffer: 1 << 28,
    })
    const all = (key: string) =>
      [...printed.matchAll(new RegExp(`r128\\.${key}=(\\S+)`, 'g'))].map(([, x]) => Number(x))
    const [momentary, shortTerm] = [all('M'), all('S')]
    expect(momentary).toHaveLength(10 * SECONDS)
    for (const [hop, { momentaryLkfs, shortTermLkfs }] of ours.entries()) {
      if (hop >= 4) expect(Math.abs(momentaryLkfs! - momentary[hop]!)).toBeLessThan(0.1)
      if (hop >= 30) expect(Math.abs(shortTermLkfs! - shortTerm[hop]!)).toBeLessThan(0.1)
    }
    expect(ours[2]!.momentaryLkfs).toBeNull()
    expect(ours[28]!.shortTermLkfs).toBeNull()
  })

  test('the highest true peak of each channel is that of libebur128, within 0.2 dB', () => {
    const path = `${folder}/music.raw`
    const frameCount = planes[0]!.length
    writeFileSync(path, execFileSync('ffmpeg', ['-v', 'error', '-i', wav, '-f', 's24le', '-'], { maxBuffer: 1 << 28 }))
    const { truePeaks } = readByLibebur128({ path, layout: '2.0', sampleRateHz: RATE, frameCount }, 'fast')
    for (const [output, peak] of truePeaks.entries()) {
      const highest = ours.reduce((high, { heldPeaksDbtp }) => Math.max(high, heldPeaksDbtp[output]!), -Infinity)
      expect(Math.abs(highest - 20 * Math.log10(peak))).toBeLessThan(0.2)
    }
  })
})

describe('published signals', () => {
  // EBU Tech 3341 v4, signal 1: 1 kHz in both channels at -23 dBFS reads M = S = -23.0 LUFS, +-0.1.
  test('a stereo tone at -23 dBFS reads -23.0 in both windows', () => {
    const tone = sine(1000, [[-23, 20]])
    const { momentaryLkfs, shortTermLkfs } = readings({ layout: '2.0', planes: [tone, tone] }).at(-1)!
    expect(Math.abs(momentaryLkfs! + 23)).toBeLessThanOrEqual(0.1)
    expect(Math.abs(shortTermLkfs! + 23)).toBeLessThanOrEqual(0.1)
  })

  // EBU Tech 3341 v4, signal 6: -28 in L and R, -24 in C, -30 in Ls and Rs reads -23.0; the LFE does not count.
  test('five channels by their weights, and a loud LFE beside them, read -23.0', () => {
    const levels = [-28, -28, -24, -6, -30, -30]
    const planes = levels.map((level) => sine(1000, [[level, 20]]))
    const { shortTermLkfs, peaksDbtp } = readings({ layout: '5.1', planes }).at(-1)!
    expect(Math.abs(shortTermLkfs! + 23)).toBeLessThanOrEqual(0.1)
    for (const [output, level] of levels.entries()) expect(peaksDbtp[output]).toBeCloseTo(level, 1)
  })

  test('a peak is held for 3 s, and silence reads nothing', () => {
    const click = new Float64Array(5 * RATE)
    click[RATE] = amplitude(-3)
    const found = readings({ layout: '2.0', planes: [click, new Float64Array(click.length)] })
    expect(found[10]!.peaksDbtp[0]).toBeCloseTo(-3, 1)
    expect(found[20]!.peaksDbtp[0]).toBe(-Infinity)
    expect(found[38]!.heldPeaksDbtp[0]).toBeCloseTo(-3, 1)
    expect(found[45]!.heldPeaksDbtp[0]).toBe(-Infinity)
    expect(found[5]!.momentaryLkfs).toBeNull()
    expect(found[5]!.heldPeaksDbtp[1]).toBe(-Infinity)
  })

  // EBU Tech 3341 v4, test signals 15 to 18, 19 and 20 to 23: -6.0, +3.0 and 0.0 dBTP, +0.2 and -0.4 dB.
  test.each([
    ['15', fadedSine(4, 0, amplitude(-6)), -6],
    ['16', fadedSine(4, 45, amplitude(-6)), -6],
    ['17', fadedSine(6, 60, amplitude(-6)), -6],
    ['18', fadedSine(8, 67.5, amplitude(-6)), -6],
    ['19', fadedSine(4, 45, 1.41412), 3],
    ['20', decimatedBurst(0), 0],
    ['21', decimatedBurst(1), 0],
    ['22', decimatedBurst(2), 0],
    ['23', decimatedBurst(3), 0],
  ])('signal %s reads its true peak', (_, signal, expected) => {
    const found = Math.max(...readings(signal).map(({ heldPeaksDbtp }) => heldPeaksDbtp[0]!))
    expect(found).toBeGreaterThanOrEqual(expected - 0.4)
    expect(found).toBeLessThanOrEqual(expected + 0.2)
  })
})

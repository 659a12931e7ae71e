import { execFileSync } from 'node:child_process'
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { inspectWith, programmeOf } from '../../../../test/testkit/inspected.ts'
import { seededRandom } from '../../../../test/testkit/programmes.ts'
import { sourceOf } from '../../../../test/testkit/sources.ts'
import { chunk, formatBody, riff, temporaryFolder } from '../../../../test/testkit/wav.ts'
import type { AudioSource, FaultId, FaultReport, LayoutName, SampleEncoding } from '../../../domain/index.ts'
import { faultDetector } from './index.ts'

// Outside authority: the places where faults were planted; what `sox stats` prints; BS.1770-5 for true peak.
const RATE = 48000
const SECONDS = 28
const FRAMES = SECONDS * RATE
/** The border between the first segment and the second: 25.6 s. */
const BORDER = 25.6 * RATE

/** As dark as music: noise that falls by 12 dB an octave from 1 kHz on, RMS 0.1. */
function sound(seed: number, frames = FRAMES): Float32Array {
  const random = seededRandom(seed)
  let [first, second] = [0, 0]
  const raw = Float32Array.from({ length: frames }, () => {
    first += 0.12 * (2 * random() - 1 - first)
    second += 0.12 * (first - second)
    return second
  })
  const rms = Math.sqrt(raw.reduce((sum, sample) => sum + sample * sample, 0) / frames)
  return raw.map((sample) => (0.1 * sample) / rms)
}

/** Channels with a common part, as fronts of a mix have one. */
function mix(channelCount: number): Float32Array[] {
  const common = sound(99)
  return Array.from({ length: channelCount }, (_, channel) => {
    const own = sound(channel + 1)
    return common.map((sample, frame) => 0.7 * sample + 0.5 * own[frame]!)
  })
}

const CHANNELS: Record<LayoutName, number> = { mono: 1, '2.0': 2, '5.0': 5, '5.1': 6, '7.1': 8 }
const mixes = new Map<LayoutName, Float32Array[]>()

function planted(layout: LayoutName, plant: (planes: Float32Array[]) => void): FaultReport {
  const clean = mixes.get(layout) ?? mix(CHANNELS[layout])
  mixes.set(layout, clean)
  const planes = clean.map((plane) => plane.slice())
  plant(planes)
  return inspectWith(faultDetector, programmeOf(planes, layout))
}

const ids = (report: FaultReport) => report.faults.map(({ id }) => id)
const found = (report: FaultReport, id: FaultId) => report.faults.filter((fault) => fault.id === id)

function only(report: FaultReport, id: FaultId) {
  expect(ids(report)).toEqual([id])
  return report.faults[0]!
}

describe('a programme without faults', () => {
  it.each(['mono', '2.0', '5.0', '5.1', '7.1'] as const)('%s has none', (layout) => {
    expect(ids(planted(layout, () => {}))).toEqual([])
  })

  it('and so has one of a single frame, and silence is told once', () => {
    expect(inspectWith(faultDetector, programmeOf([new Float32Array(1)], 'mono')).faults).toEqual([])
    const silent = inspectWith(faultDetector, programmeOf([new Float32Array(FRAMES), new Float32Array(FRAMES)], '2.0'))
    expect(silent.faults).toEqual([])
    expect(silent.channels[0]).toMatchObject({ samplePeakDbfs: null, levelDbfs: null, usedBits: null })
  })
})

describe('holes', () => {
  it.each([
    [16, 10 * RATE],
    [48, BORDER - 20],
    [480, BORDER - 480],
    [480, BORDER],
    [19200, BORDER - 1000],
  ])('%i frames of zeros in all channels at frame %i', (frames, at) => {
    const report = planted('2.0', (planes) => {
      for (const plane of planes) plane.fill(0, at, at + frames)
    })
    expect(only(report, 'dropout')).toMatchObject({ startFrame: at, endFrame: at + frames, channels: ['L', 'R'] })
  })

  it('one channel of a 5.1 for 3 ms', () => {
    const report = planted('5.1', (planes) => planes[2]!.fill(0, RATE, RATE + 144))
    expect(only(report, 'dropout')).toMatchObject({ startFrame: RATE, channels: ['C'], severity: 'fail' })
  })

  it('one channel over the border of two segments for 8 s, to silence and to a noise floor', () => {
    for (const floor of [0, 3e-5]) {
      const random = seededRandom(7)
      const report = planted('2.0', (planes) => {
        for (let n = 18 * RATE; n < 26 * RATE; n++) planes[1]![n] = floor * (2 * random() - 1)
      })
      const fault = only(report, 'intermittent-channel')
      expect(fault.channels).toEqual(['R'])
      expect(Math.abs(fault.startFrame - 18 * RATE)).toBeLessThanOrEqual(480)
      expect(Math.abs(fault.endFrame - 26 * RATE)).toBeLessThanOrEqual(480)
    }
  })

  it('one channel that does not come back', () => {
    const report = planted('5.1', (planes) => planes[4]!.fill(0, 9 * RATE))
    const fault = only(report, 'intermittent-channel')
    expect(fault).toMatchObject({ startFrame: 9 * RATE, endFrame: FRAMES, channels: ['Ls'] })
  })

  it('a side that a gate closes within 80 ms, over and over, is none', () => {
    const report = planted('2.0', ([left, right]) => {
      const common = sound(99)
      for (const [n, sample] of common.entries()) {
        const inBar = (n % RATE) / RATE
        // 120 dB in 80 ms: silent from 0.5 s to 0.7 s of every second.
        const gate = Math.max(1e-6, Math.min(1, 10 ** (-75 * Math.min(inBar - 0.42, 0.78 - inBar))))
        left![n] = sample
        right![n] = gate < 2e-6 ? 0 : gate * sample
      }
    })
    expect(found(report, 'intermittent-channel')).toEqual([])
  })

  it('a fade to silence and back is none, nor is a break of an act', () => {
    const report = planted('2.0', (planes) => {
      for (const plane of planes) {
        for (let n = 0; n < RATE; n++) {
          plane[10 * RATE + n]! *= 1 - n / RATE
          plane[11 * RATE + n] = 0
          plane[12 * RATE + n]! *= n / RATE
        }
        plane.fill(0, 20 * RATE, 22 * RATE)
      }
    })
    expect(ids(report)).toEqual([])
  })

  it('long digital silence inside is noted', () => {
    const report = planted('2.0', (planes) => planes.forEach((plane) => plane.fill(0, 10 * RATE, 15 * RATE)))
    expect(only(report, 'digital-silence')).toMatchObject({
      startFrame: 10 * RATE,
      endFrame: 15 * RATE,
      severity: 'note',
    })
  })
})

describe('samples played again', () => {
  it.each([64, 128, 441, 512, 1024, 1152, 2048, 4096])('a buffer of %i frames', (block) => {
    const at = BORDER - block / 2 - (block % 2) / 2
    const report = planted('2.0', (planes) => planes.forEach((plane) => plane.copyWithin(at, at - block, at)))
    const fault = only(report, 'repeat')
    expect(fault).toMatchObject({ startFrame: at, channels: ['L', 'R'] })
    expect(fault.figures['blockFrames']).toBe(block)
  })

  it('one sample held for 2 ms', () => {
    const report = planted('2.0', (planes) => planes[0]!.fill(planes[0]![RATE]!, RATE, RATE + 96))
    expect(only(report, 'held-samples').startFrame).toBe(RATE + 1)
  })

  it('every sample twice', () => {
    const report = planted('mono', ([plane]) => {
      for (let n = 1; n < FRAMES; n += 2) plane![n] = plane![n - 1]!
    })
    expect(only(report, 'held-samples').message).toMatch(/stands twice/)
  })

  it('the long flat tops of a clipped sound, which repeat a ripple of a few steps, are none', () => {
    const swing = sound(5)
    const clipped = swing.map((sample, n) => {
      const ripple = ((n * n) % 53) / 2 ** 15
      return Math.abs(sample) > 0.02 ? Math.sign(sample) * (0.3 + ripple * ((n % 53) / 53)) : sample
    })
    expect(found(inspectWith(faultDetector, programmeOf([clipped], 'mono')), 'repeat')).toEqual([])
  })

  it('a tone of a whole number of samples a period is none', () => {
    const tone = Float32Array.from({ length: FRAMES }, (_, n) => 0.1 * Math.sin((2 * Math.PI * (n % 480)) / 480))
    expect(inspectWith(faultDetector, programmeOf([tone], 'mono')).faults).toEqual([])
  })
})

describe('clicks', () => {
  it.each([RATE, BORDER - 1, BORDER, BORDER + 1])('of one sample at frame %i', (at) => {
    const report = planted('2.0', (planes) => {
      planes[1]![at]! += 0.3
    })
    const fault = only(report, 'click')
    expect(fault).toMatchObject({ startFrame: at, channels: ['R'] })
    expect(fault.figures['heightDbfs']).toBeCloseTo(20 * Math.log10(0.3), 0)
  })

  it('a hundred of them are one finding with places', () => {
    const report = planted('mono', ([plane]) => {
      for (let n = 0; n < 100; n++) plane![RATE + n * 9973]! += 0.4
    })
    expect(report.faults).toHaveLength(1)
    expect(report.faults[0]).toMatchObject({ id: 'click', count: 100 })
    expect(report.channels[0]!.clicks).toBe(100)
  })
})

describe('clipping and overs', () => {
  const loud = (gain: number, after = 1) =>
    inspectWith(
      faultDetector,
      sourceOf(
        [Float64Array.from(sound(5), (x) => after * Math.max(-1, Math.min(32767 / 32768, gain * x)))],
        'mono',
        RATE,
        'int16',
      ),
    )

  it('at full scale: the runs of three and more at an extreme that anyone counts in the words', () => {
    const samples = Array.from(sound(5), (x) => Math.max(-32768, Math.min(32767, Math.round(32768 * 5 * x))))
    let runs = 0
    for (let n = 1, length = 1; n < samples.length; n++) {
      length = samples[n] === samples[n - 1] ? length + 1 : 1
      if (length === 3 && Math.abs(samples[n]! + 0.5) > 32767) runs += 1
    }
    const report = loud(5)
    const [fault] = found(report, 'clipped')
    expect(fault!.figures['levelDbfs']).toBeCloseTo(0, 2)
    expect(fault!.count / runs).toBeGreaterThan(0.9)
    expect(fault!.count / runs).toBeLessThanOrEqual(1)
  })

  it('turned down by 9 dB afterwards it is still found, with its level', () => {
    const [fault] = found(loud(4, 10 ** (-9 / 20)), 'clipped')
    expect(fault!.figures['levelDbfs']).toBeCloseTo(-9, 1)
    expect(fault!.message).toMatch(/turned down later/)
  })

  it('a square wave and the top of a slow sine at full scale are not clipped', () => {
    const square = Float64Array.from({ length: FRAMES }, (_, n) => (n % 109 < 55 ? 0.5 : -0.5))
    const sine = Float64Array.from({ length: FRAMES }, (_, n) => Math.sin((2 * Math.PI * 25 * n) / RATE))
    expect(found(inspectWith(faultDetector, sourceOf([square], 'mono', RATE, 'int16')), 'clipped')).toEqual([])
    expect(found(inspectWith(faultDetector, sourceOf([sine], 'mono', RATE, 'int16')), 'clipped')).toEqual([])
  })

  // A sine of fs/4 at 45 degrees reads 3.01 dB too low in its samples. @source ITU-R BS.1770-5 Annex 2
  it('a quarter of the sampling rate at 45 degrees and -1 dBFS peaks at +2 dBTP', () => {
    const amplitude = 10 ** (2.01 / 20)
    const tone = Float64Array.from({ length: FRAMES }, (_, n) => amplitude * Math.sin(Math.PI * (n / 2 + 0.25)))
    const report = inspectWith(faultDetector, sourceOf([tone], 'mono', RATE, 'int24'))
    const [fault] = found(report, 'inter-sample-over')
    expect(fault!.figures['maxTruePeakDbtp']).toBeGreaterThan(1.6)
    expect(fault!.figures['maxTruePeakDbtp']).toBeLessThan(2.4)
    const softer = inspectWith(faultDetector, sourceOf([tone.map((x) => 0.75 * x)], 'mono', RATE, 'int24'))
    expect(found(softer, 'inter-sample-over')).toEqual([])
  })

  it('floating point beyond full scale, and samples that are no numbers', () => {
    const report = planted('2.0', (planes) => {
      planes[0]![RATE] = 1.5
      planes[1]![2 * RATE] = Number.NaN
      planes[1]![2 * RATE + 1] = Number.POSITIVE_INFINITY
    })
    expect(found(report, 'over-full-scale')[0]).toMatchObject({ startFrame: RATE, count: 1, channels: ['L'] })
    expect(found(report, 'not-finite')[0]).toMatchObject({ startFrame: 2 * RATE, endFrame: 2 * RATE + 2, count: 2 })
  })
})

describe('channels', () => {
  it('a dead one, and an empty LFE', () => {
    const report = planted('5.1', (planes) => [planes[2], planes[3]].forEach((plane) => plane!.fill(0)))
    expect(found(report, 'dead-channel').map(({ channels, severity }) => [channels[0], severity])).toEqual([
      ['C', 'warn'],
      ['LFE', 'note'],
    ])
  })

  it.each([
    [4, ['Ls', 'Rs'], 5],
    [1, ['L', 'R'], 1],
    [2, ['C'], 2],
  ])('channel %i inverted from 12 s on', (_, roles, index) => {
    const report = planted('5.1', (planes) => {
      for (let n = 12 * RATE; n < FRAMES; n++) planes[index]![n]! *= -1
    })
    const [fault] = found(report, 'inverted-pair')
    expect(fault!.channels).toEqual(roles)
    expect(Math.abs(fault!.startFrame - 12 * RATE)).toBeLessThanOrEqual(RATE)
  })

  it('loss in mono where one side of a stereo mix is inverted', () => {
    const report = planted('2.0', ([left, right]) => {
      const [common, ownLeft, ownRight] = [sound(99), sound(1), sound(2)]
      for (let n = 0; n < FRAMES; n++) {
        left![n] = 0.7 * common[n]! + 0.22 * ownLeft[n]!
        right![n] = (n >= 12 * RATE && n < 20 * RATE ? -1 : 1) * (0.7 * common[n]! + 0.22 * ownRight[n]!)
      }
    })
    const fault = found(report, 'mono-loss')[0]!
    expect(Math.abs(fault.startFrame - 12 * RATE)).toBeLessThanOrEqual(1.5 * RATE)
    expect(Math.abs(fault.endFrame - 20 * RATE)).toBeLessThanOrEqual(1.5 * RATE)
    // With a common part of power 0.49 and own parts of 0.05 only the own parts are left of the sum.
    expect(fault.figures['worstDb']).toBeCloseTo(10 * Math.log10(0.05 / 0.54), 0)
  })

  it('DC from 10 s to 25 s', () => {
    const report = planted('2.0', ([left]) => {
      for (let n = 10 * RATE; n < 25 * RATE; n++) left![n]! += 0.01
    })
    const fault = only(report, 'dc-offset')
    expect(Math.abs(fault.figures['offset']! / 0.01 - 1)).toBeLessThan(0.25)
    expect(Math.abs(fault.startFrame - 10 * RATE)).toBeLessThanOrEqual(RATE)
    expect(Math.abs(fault.endFrame - 25 * RATE)).toBeLessThanOrEqual(RATE)
  })
})

describe('bits', () => {
  const bits = (used: number, encoding: SampleEncoding, from = 0, to = FRAMES): FaultReport => {
    const steps = 2 ** (used - 1)
    const plane = Float64Array.from(sound(3), (x, n) => (n >= from && n < to ? Math.round(x * steps) / steps : x))
    return inspectWith(faultDetector, sourceOf([plane], 'mono', RATE, encoding))
  }

  it.each([
    [16, 'int24'],
    [20, 'int24'],
    [24, 'int32'],
    [16, 'float32'],
    [8, 'int16'],
  ] as const)('%i bits in %s', (used, encoding) => {
    const report = bits(used, encoding)
    expect(only(report, 'unused-bits').figures['usedBits']).toBe(used)
    expect(report.channels[0]!.usedBits).toBe(used)
  })

  it('16 bits from 5 s to 20 s only', () => {
    expect(only(bits(16, 'int24', 5 * RATE, 20 * RATE), 'unused-bits')).toMatchObject({
      startFrame: 5 * RATE,
      endFrame: 20 * RATE,
    })
    expect(ids(bits(24, 'int24'))).toEqual([])
  })
})

describe('beside SoX', () => {
  const folder = temporaryFolder()

  /** The rows of `sox stats` of a mono file. */
  function soxStats(source: AudioSource, bits: number): Map<string, string> {
    const pcm = Buffer.alloc(source.frameCount * (bits / 8))
    source.readInto(pcm, 0, source.frameCount)
    const path = join(folder, `${bits}.wav`)
    writeFileSync(
      path,
      riff([chunk('fmt ', formatBody({ channelCount: 1, bits, sampleRateHz: RATE })), chunk('data', pcm)]),
    )
    const printed = execFileSync('sh', ['-c', `sox ${path} -n stats 2>&1`], { encoding: 'utf8' })
    return new Map(
      printed
        .trim()
        .split('\n')
        .map((line) => [line.slice(0, 12).trim(), line.slice(12).trim()]),
    )
  }

  it.each([
    [16, 24],
    [20, 24],
    [24, 24],
    [16, 16],
  ])('%i bits in words of %i: peak, level, DC and bit depth agree', (used, wordBits) => {
    const steps = 2 ** (used - 1)
    const plane = Float64Array.from(sound(used), (x) => Math.round((x + 0.01) * steps) / steps)
    const source = sourceOf([plane], 'mono', RATE, wordBits === 16 ? 'int16' : 'int24')
    const [channel] = inspectWith(faultDetector, source).channels
    const sox = soxStats(source, wordBits)
    expect(channel!.samplePeakDbfs).toBeCloseTo(Number(sox.get('Pk lev dB')), 1)
    expect(channel!.levelDbfs).toBeCloseTo(Number(sox.get('RMS lev dB')), 1)
    expect(channel!.dcOffset).toBeCloseTo(Number(sox.get('DC offset')), 5)
    // Before the stroke stands what the level would need, behind it what the lowest bit needs.
    expect(sox.get('Bit-depth')).toMatch(new RegExp(`/${channel!.usedBits}$`))
  })
})

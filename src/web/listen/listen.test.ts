import { describe, expect, test } from 'vitest'
import { framesPerHop, LAYOUTS } from '../../domain/index.ts'
import type { Chunk } from './chunk.ts'
import { chunksAhead } from './course.ts'
import { matrixOf, sharesOf } from './heard.ts'
import { type Asked, MixingDesk } from './mixing-desk.ts'
import { pointGainAt } from './point-gain.ts'
import { SmallSpeaker } from './small-speakers.ts'

const RATE = 48000
const HOP = framesPerHop(RATE)
const CHUNK = RATE
const all = () => true
const k = Math.SQRT1_2

describe('loudspeakers', () => {
  // The last column is that of the turned surrounds, which only Lt/Rt takes.
  test('Lo/Ro by ITU-R BS.775-4 Table 2: centre and surrounds at -3 dB, no LFE', () => {
    expect(matrixOf('5.1', 'lo-ro', 2, all)).toEqual([
      [1, 0, k, 0, k, 0, 0],
      [0, 1, k, 0, 0, k, 0],
    ])
  })

  test('Lt/Rt by ATSC A/52 7.8.2: the surrounds against each other, turned', () => {
    expect(matrixOf('5.1', 'lt-rt', 2, all)).toEqual([
      [1, 0, k, 0, 0, 0, -1],
      [0, 1, k, 0, 0, 0, 1],
    ])
  })

  test('a device with two outputs folds down by itself; one with six plays each channel alone', () => {
    expect(matrixOf('5.1', 'own', 2, all)).toEqual(matrixOf('5.1', 'lo-ro', 2, all))
    expect(matrixOf('5.1', 'own', 6, all)[3]).toEqual([0, 0, 0, 1, 0, 0, 0])
  })

  test('a muted channel is nowhere; mono comes from both sides alike', () => {
    const [left, right] = matrixOf('5.1', 'mono', 2, (role) => role !== 'C')
    expect(left).toEqual(right)
    expect(left![2]).toBe(0)
    expect(left![0]).toBe(0.5)
  })

  test('a small loudspeaker is 3 dB down at 180 Hz and 12 kHz, flat between and steep below (Butterworth)', () => {
    const level = (hz: number) => {
      const speaker = new SmallSpeaker(RATE)
      const heard = Array.from({ length: RATE }, (_, i) => speaker.next(Math.sin((2 * Math.PI * hz * i) / RATE)))
      return 20 * Math.log10(Math.max(...heard.slice(RATE / 2)))
    }
    expect(level(180)).toBeCloseTo(-3, 1)
    expect(Math.abs(level(1500))).toBeLessThan(0.1)
    expect(level(90)).toBeCloseTo(-24, 0)
    expect(level(11_900)).toBeLessThan(-2.5)
  })
})

test('what is taken away: what goes into the fit less what comes out; without a fit, what the trims take', () => {
  const none = { source: 0, trimmed: 0, upmix: 0, fitted: 0 }
  expect(sharesOf('difference', { source: '2.0', upmix: '5.1', fitted: '5.1' })).toEqual({
    ...none,
    upmix: 1,
    fitted: -1,
  })
  expect(sharesOf('difference', { source: '5.1', fitted: '5.1' })).toEqual({ ...none, source: 1, fitted: -1 })
  expect(sharesOf('difference', { source: '5.1' })).toEqual({ ...none, source: 1, trimmed: -1 })
})

test('a trim is a straight line in dB between the centres of two 100 ms, and held at the ends', () => {
  const points = Float64Array.of(0, -6, -6)
  const db = (frame: number) => 20 * Math.log10(pointGainAt(points, frame, HOP))
  expect(db(0)).toBeCloseTo(0, 6)
  expect(db(HOP)).toBeCloseTo(-3, 6)
  expect(db(2 * HOP)).toBeCloseTo(-6, 6)
  expect(db(100 * HOP)).toBeCloseTo(-6, 6)
})

describe('the player', () => {
  const layouts = { source: '2.0', fitted: '2.0' } as const
  const asked: Asked = {
    shares: sharesOf('trimmed', layouts),
    matrix: matrixOf('2.0', 'own', 2, all),
    isSmall: false,
    monitorGain: 1,
    trimsDb: new Float64Array(600).fill(-6),
    pending: null,
    isRiding: false,
  }
  const flat = (level: number) => Float32Array.from({ length: CHUNK }, () => level)
  const chunkOf = (index: number, levels: { readonly source: number; readonly fitted?: number }): Chunk => ({
    firstFrame: index * CHUNK,
    frameCount: CHUNK,
    planNumber: 1,
    isExact: true,
    signals: {
      source: [flat(levels.source), flat(levels.source)],
      ...(levels.fitted !== undefined && { fitted: [flat(levels.fitted), flat(levels.fitted)] }),
    },
  })
  const newDesk = (more: Partial<Asked> = {}) => {
    const signalRoles = { source: LAYOUTS['2.0'], fitted: LAYOUTS['2.0'] }
    const shape = { sampleRateHz: RATE, hopFrames: HOP, chunkFrames: CHUNK, layout: '2.0', signalRoles } as const
    return new MixingDesk(shape, { ...asked, ...more })
  }
  const player = (more: Partial<Asked> = {}, levels = { source: 0.5, fitted: 0.2 }) => {
    const desk = newDesk(more)
    for (let chunk = 0; chunk < 5; chunk++) desk.give(chunkOf(chunk, levels))
    desk.isPlaying = true
    return desk
  }
  const played = (desk: MixingDesk, frames: number) => {
    const outputs = [new Float32Array(frames), new Float32Array(frames)]
    desk.render(outputs)
    return outputs[0]!
  }

  test('rises from silence and never jumps up: no step above 40 dB a second', () => {
    const heard = played(player(), 3 * RATE)
    expect(Math.abs(heard[0]!)).toBeLessThan(1e-4)
    for (let i = 1; i < heard.length; i++) expect(heard[i]! - heard[i - 1]!).toBeLessThan(3e-4)
    expect(heard.at(-1)).toBeCloseTo(0.5 * 10 ** (-6 / 20), 5)
  })

  test('source, trimmed and difference: the difference and the trimmed sum up to the source', () => {
    const last = (listening: 'source' | 'trimmed' | 'difference') =>
      played(player({ shares: sharesOf(listening, { source: '2.0' }) }), 3 * RATE).at(-1)!
    expect(last('source')).toBe(0.5)
    expect(last('trimmed') + last('difference')).toBeCloseTo(last('source'), 5)
  })

  test('once it has risen, what is heard is what was given, to the bit', () => {
    const heard = played(player({ shares: sharesOf('fitted', layouts) }), 3 * RATE)
    expect(heard.at(-1)).toBe(Math.fround(0.2))
  })

  test('changes from one to the other within 10 ms and without a gap', () => {
    const desk = player({ shares: sharesOf('source', layouts) })
    played(desk, 3 * RATE)
    desk.ask({ ...asked, shares: sharesOf('fitted', layouts) })
    const heard = played(desk, RATE / 10)
    const arrived = heard.findIndex((sample) => Math.abs(sample - 0.2) < 0.003)
    expect(arrived / RATE).toBeLessThan(0.01)
    expect(Math.min(...heard)).toBeGreaterThan(0.199)
    for (let i = 1; i < heard.length; i++) expect(Math.abs(heard[i]! - heard[i - 1]!)).toBeLessThan(0.01)
  })

  test('a stretch that is made anew takes over within 10 ms, without a click', () => {
    const desk = player({ shares: sharesOf('fitted', layouts) })
    played(desk, 3 * RATE + 1000)
    desk.give(chunkOf(3, { source: 0.5, fitted: 0.3 }))
    const heard = played(desk, 2000)
    for (let i = 1; i < heard.length; i++) expect(heard[i]! - heard[i - 1]!).toBeLessThan(0.001)
    expect(heard[480]).toBe(Math.fround(0.3))
  })

  test('what the trims have changed since the plan is heard on what was made by that plan only', () => {
    const pending = { planNumber: 1, pointsDb: new Float64Array(600).fill(-6) }
    const shares = sharesOf('fitted', layouts)
    expect(played(player({ shares, pending }), 3 * RATE).at(-1)).toBeCloseTo(0.2 * 10 ** (-6 / 20), 5)
    expect(played(player({ shares, pending: { ...pending, planNumber: 2 } }), 3 * RATE).at(-1)).toBeCloseTo(0.2, 5)
  })

  test('the fader is heard at once as it falls, rises no faster than the monitor, and is written down as it was heard', () => {
    const shares = sharesOf('fitted', layouts)
    const desk = player({ shares, trimsDb: null })
    played(desk, 3 * RATE)
    desk.moveFader(0)
    desk.ask({ ...asked, shares, trimsDb: null, isRiding: true })
    const db = (sample: number) => 20 * Math.log10(sample / 0.2)
    const still = played(desk, RATE / 10)
    expect(Math.min(...still)).toBe(Math.fround(0.2))
    desk.moveFader(-12)
    const falling = played(desk, RATE / 2)
    expect(db(falling[(RATE * 40) / 1000]!)).toBeLessThan(-11.5)
    desk.moveFader(12)
    const rising = played(desk, RATE)
    expect(db(rising[RATE / 2]!)).toBeLessThan(-12 + 40 / 2 + 0.01)
    expect(db(rising.at(-1)!)).toBeCloseTo(12, 3)
    for (let i = 1; i < rising.length; i++) expect(Math.abs(db(rising[i]!) - db(rising[i - 1]!))).toBeLessThan(0.001)

    const heard = Float32Array.of(...still, ...falling, ...rising)
    const ridden = desk.takeRidden()
    expect(ridden.map(({ hop }) => hop)).toEqual(Array.from({ length: 16 }, (_, hop) => 30 + hop))
    for (const { hop, gainDb } of ridden) expect(gainDb).toBeCloseTo(db(heard[(hop - 30 + 0.5) * HOP]!), 4)
    expect(desk.takeRidden()).toEqual([])
    // Not ridden: no trace of it.
    desk.ask({ ...asked, shares, trimsDb: null })
    expect(played(desk, 1000).at(-1)).toBe(Math.fround(0.2))
  })

  test('noise comes from one output alone, instead of the programme, and rises as slowly as the monitor', () => {
    const desk = player()
    played(desk, 3 * RATE)
    desk.playNoise({ output: 1, samples: flat(0.1) })
    const outputs = [new Float32Array(3 * RATE), new Float32Array(3 * RATE)] as const
    desk.render(outputs)
    expect(outputs[0].every((sample) => sample === 0)).toBe(true)
    const heard = outputs[1]
    expect(heard[0]).toBeLessThan(1e-4)
    const db = (frame: number) => 20 * Math.log10(heard[frame]! / 0.1)
    for (let i = 1000; i < heard.length; i++) expect(db(i) - db(i - 1)).toBeLessThan(40 / RATE + 1e-4)
    expect(heard.at(-1)).toBeCloseTo(0.1, 6)
    const frame = desk.frame
    desk.playNoise(null)
    expect(Math.abs(played(desk, 1000)[0]!)).toBeLessThan(1e-4)
    expect(desk.frame).toBe(frame + 1000)
  })

  const ramp = (index: number): Chunk => {
    const plane = Float32Array.from({ length: CHUNK }, (_, i) => (index * CHUNK + i) / 2 ** 20)
    return { ...chunkOf(index, { source: 0 }), signals: { source: [plane, plane] } }
  }

  test('a loop goes back to the frame, its beginning taking over from what follows in 10 ms, without a miss', () => {
    const desk = newDesk({ shares: sharesOf('source', layouts) })
    const [startFrame, endFrame] = [1.5 * RATE, 3.25 * RATE]
    for (let chunk = 0; chunk < 5; chunk++) desk.give(ramp(chunk))
    desk.isPlaying = true
    played(desk, 3 * RATE)
    desk.loop = { startFrame, endFrame }
    for (let round = 0; round < 4; round++) {
      const from = desk.frame
      const heard = played(desk, endFrame - from)
      expect(desk.frame).toBe(endFrame)
      const begun = round === 0 ? 0 : 480
      for (let i = begun; i < heard.length; i++) expect(heard[i]).toBe((from + i) / 2 ** 20)
      // Rendered in blocks that do not end where the loop does.
      const first = played(desk, 480)
      expect(desk.frame).toBe(startFrame + 480)
      for (const [i, sample] of first.entries()) {
        const part = i / 480
        const wanted = (startFrame + i) * part + (endFrame + i) * (1 - part)
        expect(sample * 2 ** 20).toBeCloseTo(wanted, 0)
      }
    }
    expect(desk.missedBlocks).toBe(0)
  })

  test('a loop of many chunks keeps those that come next, and asks for the others again', () => {
    const course = { direction: 1, chunkFrames: CHUNK, frameCount: 100.5 * CHUNK }
    const loop = { startFrame: 10.9 * CHUNK, endFrame: 20.01 * CHUNK }
    const ahead = (frame: number, count = 4) => chunksAhead({ ...course, frame: frame * CHUNK, loop }, count)
    expect(ahead(12.5)).toEqual([12, 13, 14, 15])
    expect(ahead(19)).toEqual([19, 20, 10, 11])
    expect(ahead(50)).toEqual([10, 11, 12, 13])
    expect(ahead(12.5, 40)).toEqual([12, 13, 14, 15, 16, 17, 18, 19, 20, 10, 11])
    expect(chunksAhead({ ...course, frame: 99 * CHUNK, loop: null }, 4)).toEqual([99, 100])
    expect(chunksAhead({ ...course, frame: 1.5 * CHUNK, loop, direction: -1 }, 4)).toEqual([1, 0])
    // To the end of the programme.
    const end = { startFrame: 99.5 * CHUNK, endFrame: 100.5 * CHUNK }
    expect(chunksAhead({ ...course, frame: 100 * CHUNK, loop: end }, 4)).toEqual([100, 99])
  })

  describe('under a scrubbing hand', () => {
    const GRAIN = 0.08 * RATE
    const five = [0, 1, 2, 3, 4].map((index) => chunkOf(index, { source: 0.5 }))
    const still = (desk: MixingDesk) => {
      const heard = played(desk, RATE)
      return heard.every((sample) => sample === 0)
    }
    const risen = (chunks: readonly Chunk[]) => {
      const desk = newDesk({ shares: sharesOf('source', layouts) })
      for (const chunk of five) desk.give(chunk)
      desk.isPlaying = true
      // The monitor has risen.
      played(desk, 2.5 * RATE)
      desk.seek(3 * RATE)
      desk.isPlaying = false
      for (const chunk of chunks) desk.give(chunk)
      return desk
    }

    test('one grain is heard where it is, as loud as the programme and no louder, with faded edges; then silence', () => {
      const desk = risen(five)
      desk.scrub(3.5 * RATE, false)
      const heard = played(desk, GRAIN)
      expect(Math.max(...heard)).toBeLessThanOrEqual(0.5)
      expect(Math.max(...heard)).toBeGreaterThan(0.4999)
      expect(heard[0]).toBeLessThan(1e-5)
      expect(heard.at(-1)).toBeLessThan(1e-5)
      for (let i = 1; i < heard.length; i++) expect(Math.abs(heard[i]! - heard[i - 1]!)).toBeLessThan(0.001)
      expect(still(desk)).toBe(true)
      expect(desk.frame).toBe(3.5 * RATE)
      expect(desk.missedBlocks).toBe(0)
    })

    test('what lies under it is in the middle of the grain: the samples are those of the programme, by a raised cosine', () => {
      const desk = risen([0, 1, 2, 3, 4].map(ramp))
      desk.scrub(3.5 * RATE, false)
      const heard = played(desk, GRAIN)
      for (const [i, sample] of heard.entries()) {
        const cosine = 0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / GRAIN)
        expect(sample * 2 ** 20).toBeCloseTo((3.5 * RATE - GRAIN / 2 + i) * cosine, 0)
      }
    })

    test('grains of a hand that goes on sum up to the level of the programme, wherever it goes', () => {
      const desk = risen(five)
      let most = 0
      let least = 1
      for (let step = 0; step < 60; step++) {
        desk.scrub(Math.round((2.2 + 2.7 * Math.abs(Math.sin(step))) * RATE), false)
        const heard = played(desk, RATE / 60)
        most = Math.max(most, ...heard)
        if (step > 6) least = Math.min(least, ...heard)
      }
      expect(most).toBeLessThanOrEqual(0.5)
      expect(least).toBeGreaterThan(0.4999)
    })

    test('the monitor gain is that of playing: it rises as slowly, and dims at once', () => {
      const desk = newDesk({ shares: sharesOf('source', layouts) })
      desk.give(chunkOf(0, { source: 0.5 }))
      desk.scrub(RATE / 2, false)
      expect(Math.max(...played(desk, GRAIN))).toBeLessThan(0.5 * 10 ** ((-80 + 40 * 0.08) / 20))
      const ready = risen(five)
      ready.ask({ ...asked, shares: sharesOf('source', layouts), monitorGain: 0.1 })
      played(ready, RATE / 10)
      ready.scrub(3.5 * RATE, false)
      expect(Math.max(...played(ready, GRAIN))).toBeLessThanOrEqual(Math.fround(0.05))
    })

    test('reduced, it is silent; gone somewhere, the programme plays on from there', () => {
      const desk = risen(five)
      desk.scrub(3.2 * RATE, true)
      expect(still(desk)).toBe(true)
      desk.seek(4 * RATE)
      desk.isPlaying = true
      desk.give(chunkOf(4, { source: 0.5 }))
      expect(played(desk, 1000).at(-1)).toBe(0.5)
      expect(desk.frame).toBe(4 * RATE + 1000)
    })

    test('what comes late is heard though the hand has gone on, and then what it waits for', () => {
      const desk = risen([])
      desk.scrub(10.5 * RATE, false)
      expect(still(desk)).toBe(true)
      desk.scrub(20.5 * RATE, false)
      desk.give(chunkOf(10, { source: 0.25 }), 10.5 * RATE)
      expect(Math.max(...played(desk, GRAIN))).toBeCloseTo(0.25, 3)
      expect(still(desk)).toBe(true)
      desk.give(chunkOf(20, { source: 0.5 }), 20.5 * RATE)
      expect(Math.max(...played(desk, GRAIN))).toBeCloseTo(0.5, 3)
      expect(still(desk)).toBe(true)
    })

    test('at the ends of what is there a grain is drawn inside of it', () => {
      const desk = risen([{ ...ramp(0), frameCount: 0.6 * RATE }])
      for (const [place, start] of [
        [0, 0],
        [0.6 * RATE - 1, 0.52 * RATE],
      ] as const) {
        desk.scrub(place, false)
        const heard = played(desk, GRAIN)
        const middle = GRAIN / 2
        expect(heard[middle]! * 2 ** 20).toBeCloseTo(start + middle, 0)
        expect(heard.at(-1)).toBeLessThan(1e-5)
      }
    })
  })

  test('waits for what has not come, counts it once it has begun, and goes on where it stopped', () => {
    const desk = newDesk()
    desk.isPlaying = true
    expect(played(desk, 1000).every((sample) => sample === 0)).toBe(true)
    expect(desk.frame).toBe(0)
    expect(desk.missedBlocks).toBe(0)
    desk.give(chunkOf(0, { source: 0.5 }))
    played(desk, 1000)
    expect(desk.frame).toBe(1000)
    played(desk, CHUNK)
    expect(desk.missedBlocks).toBe(1)
  })
})

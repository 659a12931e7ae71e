// Outside authority: where things lie is known because the test laid them there; what they are called, how long a pop is
// and where it stands is common practice, the tone's frequency SMPTE RP 155 and EBU R 68, the pictures' lengths SMPTE ST 12-1.
import { describe, expect, test } from 'vitest'
import type { SpeechLane, Structure } from '../../src/domain/index.ts'
import { structureDetector } from '../../src/engine/intake/structure/index.ts'
import { inspectWith, programmeOf, recording } from '../testkit/inspected.ts'
import { Master, sine, track } from '../testkit/masters.ts'

const RATE = 48000
const TEN_MS = 480
const at = (seconds: number) => Math.round(seconds * RATE)
const SLATE = '/usr/share/asterisk/sounds/en_US_f_Allison/vm-intro.wav'

const inspect = (master: Master, speech: SpeechLane | null = null): Structure =>
  inspectWith(structureDetector, programmeOf(master.planes, master.planes.length === 2 ? '2.0' : '5.1'), speech)

/** A stretch of real music from its loud middle on, so that it begins and ends with sound. */
function music(name: string, seconds: number): Float32Array[] {
  return track(name, 70).map((plane) => plane.subarray(at(5), at(5 + seconds)))
}

const kinds = ({ segments }: Structure) => segments.map(({ kind }) => kind)

function expectEdges(structure: Structure, edges: readonly number[], tolerance = TEN_MS): void {
  expect(structure.segments[0]!.startFrame).toBe(0)
  structure.segments.slice(1).forEach((segment, index) => {
    expect(segment.startFrame).toBe(structure.segments[index]!.endFrame)
    expect(Math.abs(segment.startFrame - edges[index]!), `edge ${index}`).toBeLessThanOrEqual(tolerance)
  })
}

describe('the map of a master', () => {
  const POP = at(30) + 123
  const broadcastReel = (hissDbfs: number): Master =>
    new Master(2, at(140), hissDbfs)
      .lay(at(1.5), sine(1000, -18, at(15)))
      .lay(at(20), recording(SLATE, 1, RATE, 5)[0]!)
      .lay(POP, sine(1000, -20, 1920))
      .lay(POP + at(2), music('Coherence', 40))
      .lay(POP + at(52), music('Awakening', 20))
      .lay(POP + at(74), sine(1000, -20, 1920))

  test.each([
    ['digital silence', Number.NEGATIVE_INFINITY],
    ['hiss at -75 dBFS', -75],
    ['hiss at -62 dBFS', -62],
  ])('tone, slate, leader, two acts, break and tail on %s', (_, hissDbfs) => {
    const structure = inspect(broadcastReel(hissDbfs))
    expect(kinds(structure)).toEqual([
      'silence',
      'tone',
      'silence',
      'slate',
      'silence',
      'leader',
      'programme',
      'break',
      'programme',
      'tail',
    ])
    const [slateStart, slateEnd] = structure.segments.slice(3, 4).flatMap((s) => [s.startFrame, s.endFrame])
    const acts = [POP, POP + at(2), POP + at(42), POP + at(52), POP + at(72)]
    expectEdges(structure, [at(1.5), at(16.5), slateStart!, slateEnd!, ...acts])
    expect(slateStart).toBeGreaterThan(at(19.9))
    expect(structure.action).toEqual({
      startFrame: POP + at(2),
      endFrame: expect.toSatisfy((frame: number) => Math.abs(frame - POP - at(72)) <= TEN_MS),
    })
    expect(Math.abs(structure.twoPop!.startFrame - POP)).toBeLessThanOrEqual(1)
    expect(Math.abs(structure.tailPop!.startFrame - POP - at(74))).toBeLessThanOrEqual(1)
    expect(structure.tones[0]).toMatchObject({ kind: 'steady', channels: ['L', 'R'] })
    expect(structure.tones[0]!.levelDbfs).toBeCloseTo(-18, 1)
    expect(structure.frameRates[0]?.rate).toBe('25')
    expect(structure.speed).toBeNull()
  })

  test("an act's tone left between two acts, without silence beside it", () => {
    const master = new Master(2, at(150))
      .lay(0, music('Coherence', 60))
      .lay(at(60), sine(1000, -20, at(12)))
      .lay(at(72), music('Awakening', 60))
      .lay(at(132), music('Coherence', 18))
    const structure = inspect(master)
    expect(kinds(structure)).toEqual(['programme', 'tone', 'programme'])
    expectEdges(structure, [at(60), at(72)])
    expect(structure.segments[1]!.evidence.join(' ')).toMatch(/left in/)
  })

  test('textless elements behind the tail pop are proposed where they have no dialogue', () => {
    const master = new Master(2, at(160))
      .lay(0, music('Coherence', 60))
      .lay(at(60), music('Awakening', 20))
      .lay(at(82), sine(1000, -20, 2000))
      .lay(at(100), music('Coherence', 25))
    const isSpeech100ms = Uint8Array.from({ length: 1600 }, (_, hop) => (hop < 800 && hop % 20 < 8 ? 1 : 0))
    const speech = { probability100ms: isSpeech100ms.map((is) => 255 * is), isSpeech100ms, modelSha256: '' }
    const structure = inspect(master, speech)
    expect(kinds(structure)).toEqual(['programme', 'tail', 'textless', 'tail'])
    expect(structure.segments[2]!.confidence).toBeLessThan(0.9)
    expect(structure.action!.endFrame).toBe(at(80))
  })

  test('a countdown of beeps is leader up to the first frame of action', () => {
    const master = new Master(2, at(80))
    for (let second = 8; second >= 2; second--) master.lay(at(20 - second), sine(1000, -20, 2000))
    const structure = inspect(master.lay(at(20), music('Coherence', 60)))
    expect(kinds(structure)).toEqual(['silence', 'leader', 'programme'])
    expectEdges(structure, [at(12), at(20)], 1)
  })

  test('ident tones: the left channel interrupted every three seconds', () => {
    const master = new Master(2, at(90)).lay(at(2), sine(1000, -18, at(20))).lay(at(30), music('Coherence', 60))
    for (let second = 2; second < 22; second += 3) master.planes[0]!.fill(0, at(second), at(second + 0.25))
    const structure = inspect(master)
    expect(structure.tones).toHaveLength(1)
    expect(structure.tones[0]).toMatchObject({ kind: 'interrupted', channels: ['L', 'R'] })
    expect(kinds(structure)).toEqual(['silence', 'tone', 'silence', 'programme'])
  })

  test('silence, and less than a hop', () => {
    const silent = inspect(new Master(2, at(30)))
    expect(kinds(silent)).toEqual(['silence'])
    expect(silent.action).toBeNull()
    expect(kinds(inspect(new Master(2, 100).lay(0, sine(1000, -20, 100))))).toEqual(['silence'])
  })
})

describe('picture rate and speed', () => {
  const reel = (pictureFrames: number, frequencyHz: number, leadFrames: number): Master =>
    new Master(6, at(28) + 77)
      .lay(at(1), sine(frequencyHz, -20, at(6)))
      .lay(at(12), sine(frequencyHz, -20, pictureFrames), [2])
      .lay(at(12) + leadFrames, music('Coherence', 12), [0, 1])

  // Samples a picture at 48 kHz by SMPTE ST 12-1: 48000 times the denominator over the numerator.
  test.each([
    ['24', 2000, at(2)],
    ['23.976', 2002, 48 * 2002],
    ['25', 1920, at(2)],
    ['30', 1600, at(2)],
    ['29.97', 1602, 60060 * 1.6],
    ['50', 960, at(2)],
  ] as const)('%s: a pop of %d samples, action two seconds of pictures behind it', (rate, picture, lead) => {
    const structure = inspect(reel(picture, 1000, lead))
    expect(structure.frameRates[0]?.rate).toBe(rate)
    expect(structure.twoPop).toMatchObject({ channels: ['C'] })
    expect(structure.action!.startFrame).toBe(at(12) + lead)
    expect(structure.speed).toBeNull()
  })

  test.each([
    ['25/24', (1000 * 25) / 24],
    ['24/25', 960],
    ['1000/1001', 1000 / 1.001],
    ['1001/1000', 1001],
    ['44.1/48', 918.75],
  ])('%s: 1 kHz found at %d Hz', (name, frequencyHz) => {
    const structure = inspect(reel(2000, frequencyHz, at(2)))
    expect(structure.speed?.name).toBe(name)
    for (const tone of structure.tones) expect(Math.abs(tone.frequencyHz - frequencyHz)).toBeLessThan(0.05)
  })

  test('997 Hz is a test tone of its own (AES17), and 1 kHz in hiss stays 1 kHz', () => {
    expect(inspect(reel(2000, 997, at(2))).speed).toBeNull()
    const noisy = inspect(
      new Master(2, at(40), -55).lay(at(3), sine(1000, -20, at(10))).lay(at(20), sine(1000, -20, 2000)),
    )
    expect(noisy.tones.map(({ kind }) => kind)).toEqual(['steady', 'pop'])
    for (const tone of noisy.tones) expect(Math.abs(tone.frequencyHz - 1000)).toBeLessThan(0.05)
  })
})

describe('real music has no line-up in it', () => {
  test.each(['Through Space', 'Deprecation'])('%s', (name) => {
    const structure = inspectWith(structureDetector, programmeOf(track(name, 90), '2.0'))
    expect(structure.tones).toEqual([])
    expect(new Set(kinds(structure))).not.toContain('break')
    expect(structure.speed).toBeNull()
  })
})

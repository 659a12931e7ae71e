// Programmes of real music and acted voices with faults planted in them, whose places are known to the sample.
import {
  joinMeasured,
  type LayoutName,
  type LevelStep,
  type Measured,
  type SpeechLane,
  segmentAt,
  segmentCount,
  speechLane,
} from '../../src/domain/index.ts'
import { levelSteps } from '../../src/engine/intake/level-steps.ts'
import { listenToSegment, measureSegment } from '../../src/engine/measure/index.ts'
import { loadKernels } from './kernels.ts'
import { seededRandom } from './programmes.ts'
import { sourceOf } from './sources.ts'
import { speechWeights } from './speech-model.ts'
import { musicTrack, type SpokenSet, type SpokenTrack, spokenTrack, tracksOf } from './spoken-programmes.ts'
import { lowEnd, throughSox } from './surround-mixes.ts'

const RATE = 48000
const HOP = RATE / 10

export type Fault = {
  readonly kind: 'scene' | 'bump' | 'line' | 'reel' | 'tone'
  readonly startFrame: number
  readonly endFrame: number
}

export type FaultyProgramme = {
  readonly measured: Measured
  readonly speech: SpeechLane
  readonly levelSteps: readonly LevelStep[]
  readonly faults: readonly Fault[]
}

/** A programme before anything is planted: tracks one after the other, voices over them. */
export type CleanProgramme = {
  readonly music: readonly [Float64Array, Float64Array]
  readonly voice: SpokenTrack
}

export function cleanProgramme(
  set: SpokenSet,
  shape: { readonly firstTrack: number; readonly trackSeconds: readonly number[]; readonly seed: number },
): CleanProgramme {
  const seconds = shape.trackSeconds.reduce((sum, length) => sum + length, 0)
  const music = [new Float64Array(seconds * RATE), new Float64Array(seconds * RATE)] as const
  const names = tracksOf(set)
  let at = 0
  for (const [index, length] of shape.trackSeconds.entries()) {
    const track = musicTrack(names[(shape.firstTrack + index) % names.length]!, length)
    music[0].set(track.left, at * RATE)
    music[1].set(track.right, at * RATE)
    at += length
  }
  return { music, voice: spokenTrack(set, 'acted', seconds, shape.seed) }
}

/** Voice over music, 8 dB apart. */
const MUSIC_GAIN = 10 ** (-8 / 20)

/** Plants faults into a copy of a two-track; the lane is where somebody speaks. */
export function withFaults(
  { music, voice }: CleanProgramme,
  kinds: readonly Fault['kind'][],
  seed: number,
): FaultyProgramme {
  const mix = (spoken: Float64Array) =>
    music.map((channel) => channel.map((sample, i) => MUSIC_GAIN * sample + spoken[i]!))
  const { planes, faults, isSpeech } = planted(voice, mix, kinds, seed)
  const speech = { probability100ms: isSpeech.map((mark) => 255 * mark), isSpeech100ms: isSpeech, modelSha256: '' }
  return { ...measureAndLook(planes, '2.0'), speech, faults }
}

/**
 * The same in a 5.1: voices and a little music in C, music in front, its room behind, its low end in the LFE. The lane
 * is what our own detector hears.
 */
export function surroundWithFaults(
  { music, voice }: CleanProgramme,
  kinds: readonly Fault['kind'][],
  seed: number,
): FaultyProgramme {
  const fronts = music.map((channel) => Float32Array.from(channel, (sample) => MUSIC_GAIN * sample))
  const [left, right] = fronts as [Float32Array, Float32Array]
  const low = lowEnd(fronts)
  const room = throughSox(fronts, 'reverb', '-w', '60')
  const mix = (spoken: Float64Array) => {
    const centre = spoken.map((sample, i) => sample + MUSIC_IN_CENTRE * (left[i]! + right[i]!))
    return [left, right, centre, low, ...room].map((plane) => Float64Array.from(plane))
  }
  const { planes, faults } = planted(voice, mix, kinds, seed)
  return { ...measureAndLook(planes, '5.1'), speech: heard(planes), faults }
}

/** A fifth of the middle. */
const MUSIC_IN_CENTRE = 0.1

function heard(planes: readonly Float64Array[]): SpeechLane {
  const kernels = loadKernels()
  const weights = speechWeights()
  const source = sourceOf(planes, '5.1', RATE, 'float32')
  return speechLane(segmentsOf(planes).map((segment) => listenToSegment(kernels, weights, source, segment)))
}

/** Mixes voices, of which one line may be soft, and changes the mix; where somebody speaks is known. */
function planted(
  voice: SpokenTrack,
  mix: (spoken: Float64Array) => Float64Array[],
  kinds: readonly Fault['kind'][],
  seed: number,
) {
  const frames = voice.samples.length
  const random = seededRandom(seed)
  const faults: Fault[] = []
  const spoken = voice.samples.slice()
  const isSpeech = voice.truth100ms.slice()
  if (kinds.includes('line')) faults.push(softLine(spoken, isSpeech, random))
  const planes = mix(spoken)
  for (const kind of kinds) {
    if (kind === 'line') continue
    const [seconds, gainDb] = shapeOf(kind, random)
    const length = Math.round(seconds * RATE)
    const startFrame = freePlace(faults, kind, frames, length, random)
    const endFrame = startFrame + length
    for (const plane of planes) {
      for (let i = startFrame; i < endFrame; i++) {
        plane[i] = kind === 'tone' ? 0.1 * Math.sin((2 * Math.PI * 1000 * i) / RATE) : plane[i]! * 10 ** (gainDb / 20)
      }
    }
    if (kind === 'tone') isSpeech.fill(0, Math.floor(startFrame / HOP), Math.ceil(endFrame / HOP))
    faults.push({ kind, startFrame, endFrame })
  }
  return { planes, faults, isSpeech }
}

/** Length in seconds and gain in dB. */
function shapeOf(kind: Fault['kind'], random: () => number): readonly [number, number] {
  if (kind === 'scene') return [20 + 40 * random(), 6]
  if (kind === 'bump') return [8, 2]
  if (kind === 'reel') return [180, 1.5]
  return [10 + 10 * random(), 0]
}

/** A place that touches no other fault, but that a reel may hold others inside. */
function freePlace(faults: readonly Fault[], kind: string, frames: number, length: number, random: () => number) {
  for (;;) {
    const start = Math.round(5 * RATE + random() * (frames - length - 10 * RATE))
    const isFree = faults.every(({ startFrame, endFrame }) => {
      const isApart = startFrame > start + length + 2 * RATE || endFrame < start - 2 * RATE
      const isInside = startFrame > start + 2 * RATE && endFrame < start + length - 2 * RATE
      return isApart || (kind === 'reel' && isInside)
    })
    if (isFree) return start
  }
}

/** Takes 6 dB off one line of 2 to 6 s. */
function softLine(spoken: Float64Array, isSpeech: Uint8Array, random: () => number): Fault {
  const lines: { first: number; end: number }[] = []
  for (const [hop, mark] of isSpeech.entries()) {
    const last = lines.at(-1)
    if (mark === 1 && last !== undefined && hop === last.end) last.end++
    else if (mark === 1) lines.push({ first: hop, end: hop + 1 })
  }
  const isApart = (at: number) =>
    (lines[at + 1]?.first ?? 1e9) - lines[at]!.end > 4 && lines[at]!.first - (lines[at - 1]?.end ?? 0) > 4
  const fit = lines.filter(({ first, end }, at) => end - first >= 20 && end - first <= 60 && isApart(at))
  const { first, end } = fit[Math.floor(random() * fit.length)]!
  for (let i = (first - 2) * HOP; i < (end + 2) * HOP; i++) spoken[i]! *= 10 ** (-6 / 20)
  return { kind: 'line', startFrame: first * HOP, endFrame: end * HOP }
}

function segmentsOf(planes: readonly Float64Array[]) {
  const frameCount = planes[0]!.length
  return Array.from({ length: segmentCount(frameCount, RATE) }, (_, i) => segmentAt(i, frameCount, RATE))
}

function measureAndLook(
  planes: readonly Float64Array[],
  layout: LayoutName,
): Pick<FaultyProgramme, 'measured' | 'levelSteps'> {
  const kernels = loadKernels()
  const frameCount = planes[0]!.length
  const source = sourceOf(planes, layout, RATE, 'float32')
  const narrow = planes.map((plane) => Float32Array.from(plane))
  const segments = segmentsOf(planes)
  const evidence = segments.map(({ firstFrame, frameCount: own }) => {
    const leadFrames = Math.min(firstFrame, RATE)
    const tailFrames = Math.min(frameCount - firstFrame - own, RATE)
    return levelSteps.observe(kernels, {
      layout,
      sampleRateHz: RATE,
      programmeFrameCount: frameCount,
      firstFrame,
      frameCount: own,
      leadFrames,
      tailFrames,
      planes: narrow.map((plane) => plane.subarray(firstFrame - leadFrames, firstFrame + own + tailFrames)),
      words: { format: source.format, bytes: new Uint8Array(0) },
    })
  })
  return {
    measured: joinMeasured(segments.map((segment) => measureSegment(kernels, source, segment))),
    levelSteps: levelSteps.conclude(evidence, { layout, sampleRateHz: RATE, frameCount, speech: null }),
  }
}

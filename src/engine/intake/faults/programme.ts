import {
  FINE_HOPS_PER_HOP,
  FINE_HOPS_PER_SECOND,
  framesPerHop,
  LAYOUTS,
  type LayoutName,
  type Role,
} from '../../../domain/index.ts'
import type { Inspected } from '../detector.ts'
import type { FaultEvidence, LevelEvidence } from './evidence.ts'
import { fineLevelDb } from './levels.ts'

/** The evidence of all segments laid end to end. */
export class ProgrammeEvidence {
  readonly segments: readonly FaultEvidence[]
  readonly layout: LayoutName
  readonly roles: readonly Role[]
  readonly sampleRateHz: number
  readonly frameCount: number
  readonly hopCount: number
  #silentShare: number | null = null
  readonly #joined = new Map<string, Float32Array | Uint8Array>()

  constructor(segments: readonly FaultEvidence[], programme: Inspected) {
    this.segments = segments
    this.layout = programme.layout
    this.roles = LAYOUTS[programme.layout]
    this.sampleRateHz = programme.sampleRateHz
    this.frameCount = programme.frameCount
    this.hopCount = segments.reduce((sum, { levels }) => sum + levels.hopCount, 0)
  }

  get channelCount(): number {
    return this.roles.length
  }

  /** One of the series of 100 ms, `[hop * rowLength + column]`. */
  series(name: 'energies' | 'sums' | 'products' | 'frontSums' | 'sides'): Float32Array {
    return this.#join(name, (levels) => levels[name]) as Float32Array
  }

  /** Level of a channel in a 10 ms hop of the programme, dB re full scale; -127 in silence and beyond the end. */
  fineDb(fineHop: number, channel: number): number {
    const all = this.#join('fineLevels', ({ fineLevels }) => fineLevels)
    return fineLevelDb(all[fineHop * this.channelCount + channel] ?? 0)
  }

  get fineHopCount(): number {
    return this.#join('fineLevels', ({ fineLevels }) => fineLevels).length / this.channelCount
  }

  /** Share of the programme's 10 ms in which no channel has any sound. */
  get silentShare(): number {
    this.#silentShare ??= this.#countSilent() / Math.max(1, this.fineHopCount)
    return this.#silentShare
  }

  frameOfHop(hop: number): number {
    return Math.min(this.frameCount, hop * framesPerHop(this.sampleRateHz))
  }

  frameOfFineHop(fineHop: number): number {
    return Math.min(this.frameCount, (fineHop * this.sampleRateHz) / FINE_HOPS_PER_SECOND)
  }

  fineHopOf(frame: number): number {
    return (frame * FINE_HOPS_PER_SECOND) / this.sampleRateHz
  }

  hopOfFineHop(fineHop: number): number {
    return Math.floor(fineHop / FINE_HOPS_PER_HOP)
  }

  secondsOf(frames: number): number {
    return frames / this.sampleRateHz
  }

  /** Sum of a column of a series over hops [from, to). */
  sum(
    name: 'energies' | 'sums' | 'products' | 'frontSums' | 'sides',
    rowLength: number,
    column: number,
    [from, to]: readonly [number, number],
  ): number {
    const series = this.series(name)
    let sum = 0
    for (let hop = Math.max(0, from); hop < Math.min(this.hopCount, to); hop++) {
      sum += series[hop * rowLength + column] as number
    }
    return sum
  }

  #countSilent(): number {
    const levels = this.#join('fineLevels', ({ fineLevels }) => fineLevels)
    let silent = 0
    for (let first = 0; first < levels.length; first += this.channelCount) {
      if (levels.subarray(first, first + this.channelCount).every((level) => level === 0)) silent += 1
    }
    return silent
  }

  #join(name: string, pick: (levels: LevelEvidence) => Float32Array | Uint8Array): Float32Array | Uint8Array {
    const known = this.#joined.get(name)
    if (known !== undefined) return known
    const parts = this.segments.map(({ levels }) => pick(levels))
    const length = parts.reduce((sum, part) => sum + part.length, 0)
    const all = name === 'fineLevels' ? new Uint8Array(length) : new Float32Array(length)
    let at = 0
    for (const part of parts) {
      all.set(part, at)
      at += part.length
    }
    this.#joined.set(name, all)
    return all
  }
}

/** Runs of true over an index, joined over gaps of at most `bridge`, kept from `shortest` on: [from, to) each. */
export function runsOf(
  count: number,
  isTrue: (index: number) => boolean,
  bridge: number,
  shortest: number,
): (readonly [number, number])[] {
  const runs: [number, number][] = []
  for (let index = 0; index < count; index++) {
    if (!isTrue(index)) continue
    const last = runs.at(-1)
    if (last !== undefined && index - last[1] <= bridge) last[1] = index + 1
    else runs.push([index, index + 1])
  }
  return runs.filter(([from, to]) => to - from >= shortest)
}

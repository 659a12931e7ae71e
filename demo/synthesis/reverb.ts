import { framesOf, gainOf, SAMPLE_RATE_HZ } from './signal.ts'

/** A room: how long it rings at low and high frequencies, how far its walls stand apart, when its sound arrives. */
export type Room = {
  readonly lowDecaySeconds: number
  readonly highDecaySeconds: number
  /** Scale of the delays: 1 is a hall. */
  readonly size: number
  readonly preDelayMs: number
}

const DELAYS_MS = [31.3, 37.9, 41.1, 47.3, 53.9, 59.3, 67.1, 73.7]
const DAMPING_HZ = 3500

/**
 * Reverberates one signal into several that do not resemble each other: a feedback delay network of eight lines
 * through a Householder matrix, each with a low-pass in its loop; every output takes the lines with signs of its own.
 */
export function reverberated(input: Float32Array, room: Room, outputCount: number): Float32Array[] {
  const lines = DELAYS_MS.map((ms) => createLine(framesOf((ms * room.size) / 1000) | 1, room))
  const preDelay = framesOf(room.preDelayMs / 1000)
  const signs = Array.from({ length: outputCount }, (_, row) => hadamardRow(row + 1))
  const outputs = Array.from({ length: outputCount }, () => new Float32Array(input.length))
  // No line is shorter than a block, so that nothing written in a block is heard within it.
  const total = new Float32Array(BLOCK_FRAMES)
  for (let start = 0; start < input.length; start += BLOCK_FRAMES) {
    const count = Math.min(BLOCK_FRAMES, input.length - start)
    total.fill(0)
    for (const [i, line] of lines.entries()) {
      listen(line, total, count)
      for (let o = 0; o < outputCount; o++) {
        const output = outputs[o]
        const sign = signs[o][i]
        for (let f = 0; f < count; f++) output[start + f] = output[start + f] + sign * line.heard[f]
      }
    }
    for (const [i, line] of lines.entries()) {
      const entry = i % 2 === 0 ? 0.5 : -0.5
      for (let f = 0; f < count; f++) {
        const at = start + f - preDelay
        const entering = at >= 0 ? entry * input[at] : 0
        line.memory[line.position] = line.heard[f] - total[f] / 4 + entering + KEEPS_NORMAL
        line.position = line.position + 1 === line.memory.length ? 0 : line.position + 1
      }
    }
  }
  return outputs
}

const BLOCK_FRAMES = 256
/** Far below hearing; keeps a dying room from numbers so small that they are slow. */
const KEEPS_NORMAL = 1e-18

type DelayLine = {
  readonly memory: Float32Array
  readonly heard: Float32Array
  readonly lowGain: number
  readonly highGain: number
  position: number
  low: number
}

function createLine(length: number, room: Room): DelayLine {
  if (length < BLOCK_FRAMES) throw new Error(`a delay of ${length} frames is too short`)
  const gainFor = (decaySeconds: number) => gainOf((-60 * length) / SAMPLE_RATE_HZ / decaySeconds)
  return {
    memory: new Float32Array(length),
    heard: new Float32Array(BLOCK_FRAMES),
    lowGain: gainFor(room.lowDecaySeconds),
    highGain: gainFor(room.highDecaySeconds),
    position: 0,
    low: 0,
  }
}

const DAMPING_POLE = Math.exp((-2 * Math.PI * DAMPING_HZ) / SAMPLE_RATE_HZ)

/** Takes the next frames out of a line, damped, and adds them to the total of all lines. */
function listen(line: DelayLine, total: Float32Array, count: number): void {
  const { memory, heard, highGain } = line
  const extra = line.lowGain - highGain
  let { position, low } = line
  for (let f = 0; f < count; f++) {
    const sample = memory[position]
    low = sample + DAMPING_POLE * (low - sample)
    const damped = highGain * sample + extra * low
    heard[f] = damped
    total[f] = total[f] + damped
    position = position + 1 === memory.length ? 0 : position + 1
  }
  line.low = low
}

/** A row of the Hadamard matrix of order eight, halved: any two rows cancel against each other. */
function hadamardRow(row: number): Float64Array {
  return Float64Array.from({ length: DELAYS_MS.length }, (_, i) => {
    const bits = i & row
    const isOdd = ((bits ^ (bits >> 1) ^ (bits >> 2)) & 1) === 1
    return isOdd ? -0.5 : 0.5
  })
}

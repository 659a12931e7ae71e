import type { Kernels } from './kernels.ts'
import { binReach, duckBand, FINE_ERBS, POWER_ERBS, speechBins, type UpmixGeometry } from './upmix-geometry.ts'

/** Addresses of what a pass looks up and of its scratch for sums over bins. */
export type UpmixTables = {
  readonly analysisWindow: number
  readonly synthesisWindow: number
  readonly powerReach: number
  readonly fineReach: number
  readonly speechBand: number
  readonly duckBand: number
  readonly prefix: number
}

const FLOAT = Float32Array.BYTES_PER_ELEMENT
const DOUBLE = Float64Array.BYTES_PER_ELEMENT
const REACH_BYTES = 16
const POWER_PLANES = 4

/** Gives the address of floats that are all 0. */
export function takeSilence(kernels: Kernels, count: number): number {
  const address = kernels.arena.take(count * FLOAT)
  new Float32Array(kernels.memory.buffer, address, count).fill(0)
  return address
}

export function takeUpmixTables(kernels: Kernels, geometry: UpmixGeometry): UpmixTables {
  const { transformFrames, stride } = geometry
  const { arena } = kernels
  const speech = speechBins(geometry)
  return {
    analysisWindow: takeWindow(kernels, transformFrames, 1),
    // Four overlapping squared windows sum to 2; the inverse transform lacks its 1 / length.
    synthesisWindow: takeWindow(kernels, transformFrames, 0.5 / transformFrames),
    powerReach: takeReach(kernels, geometry, POWER_ERBS),
    fineReach: takeReach(kernels, geometry, FINE_ERBS),
    speechBand: takeBand(kernels, geometry, (bin) => (bin >= speech.first && bin <= speech.last ? 1 : 0)),
    duckBand: takeBand(kernels, geometry, (bin) => duckBand(geometry, bin)),
    prefix: arena.take(POWER_PLANES * (stride + 1) * DOUBLE),
  }
}

function takeWindow(kernels: Kernels, length: number, scale: number): number {
  const address = kernels.arena.take(length * FLOAT)
  kernels.exports.upmixFillWindow(address, length, scale)
  return address
}

function takeBand(kernels: Kernels, geometry: UpmixGeometry, of: (bin: number) => number): number {
  const address = takeSilence(kernels, geometry.stride)
  const band = new Float32Array(kernels.memory.buffer, address, geometry.stride)
  for (let bin = 0; bin <= geometry.lastBin; bin++) band[bin] = of(bin)
  return address
}

/** For each bin: first bin and bin past the last as i32, one over their distance as f64. The padding averages nothing. */
function takeReach(kernels: Kernels, geometry: UpmixGeometry, erbs: number): number {
  const address = kernels.arena.take(geometry.stride * REACH_BYTES)
  const table = new DataView(kernels.memory.buffer, address, geometry.stride * REACH_BYTES)
  for (let bin = 0; bin < geometry.stride; bin++) {
    const reach = bin <= geometry.lastBin ? binReach(geometry, bin, erbs) : { first: 0, last: -1 }
    const count = reach.last + 1 - reach.first
    table.setInt32(bin * REACH_BYTES, reach.first, true)
    table.setInt32(bin * REACH_BYTES + 4, reach.last + 1, true)
    table.setFloat64(bin * REACH_BYTES + 8, count === 0 ? 0 : 1 / count, true)
  }
  return address
}

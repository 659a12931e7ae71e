/** Gives numbers in [0, 1), the same row for the same seed. */
export type Random = () => number

/** The generator mulberry32 (public domain): 32 bits of state, good enough for noise. */
export function seeded(seed: number): Random {
  let state = seed >>> 0
  return () => {
    state = (state + 0x6d2b79f5) >>> 0
    let mixed = Math.imul(state ^ (state >>> 15), state | 1)
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61)
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296
  }
}

/** White noise, evenly spread over [-1, 1). */
export function whiteNoise(random: Random, frameCount: number): Float32Array {
  const noise = new Float32Array(frameCount)
  for (let f = 0; f < frameCount; f++) noise[f] = 2 * random() - 1
  return noise
}

/** A number between two others. */
export function between(random: Random, low: number, high: number): number {
  return low + (high - low) * random()
}

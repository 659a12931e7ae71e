import { type Measured, toHops } from '../../src/domain/index.ts'

/** Random numbers 0..1 from a seed. @source mulberry32, T. Ettinger 2017 (public domain), from memory */
export function seededRandom(seed: number): () => number {
  let state = seed
  return () => {
    state = (state + 0x6d2b79f5) | 0
    let t = Math.imul(state ^ (state >>> 15), state | 1)
    t = (t + Math.imul(t ^ (t >>> 7), t | 61)) ^ t
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32
  }
}

/** K-weighted energy of a steady sound of this loudness. @source ITU-R BS.1770-5 Annex 1, equation 2 */
export function energyOf(loudnessLkfs: number): number {
  return 10 ** ((loudnessLkfs + 0.691) / 10)
}

/** Energies of a programme made of steady stretches, each `[seconds, LKFS]`. */
export function steps(...stretches: readonly (readonly [number, number])[]): Float64Array {
  return Float64Array.from(
    stretches.flatMap(([seconds, lkfs]) => new Array<number>(Math.round(seconds * 100)).fill(energyOf(lkfs))),
  )
}

/**
 * Energies of a drama: lines of dialogue with syllables, pauses of room tone, scenes of different level, music, and
 * now and then a short hit far above everything.
 */
export function dramaEnergies(seconds: number, seed: number): Float64Array {
  const random = seededRandom(seed)
  const energies = new Float64Array(seconds * 100)
  let i = 0
  while (i < energies.length) {
    const kind = random()
    const length = Math.round(
      100 * (kind < 0.55 ? 1 + 4 * random() : kind < 0.9 ? 0.5 + 3 * random() : 4 + 25 * random()),
    )
    const level = kind < 0.55 ? -27 + 6 * random() : kind < 0.9 ? -58 + 12 * random() : -24 + 10 * random()
    for (let n = 0; n < length && i < energies.length; n++, i++) energies[i] = energyOf(level - 8 * random())
    if (random() < 0.04) {
      const hit = -12 + 6 * random()
      for (let n = 0; n < 60 && i < energies.length; n++, i++) energies[i] = energyOf(hit - n / 3)
    }
  }
  return energies
}

/** A measurement made of energies alone, in a 5.1 all of them in C: 48 kHz, peaks 12 dB above the energy of their hop. */
export function measuredOf(
  programme10ms: Float64Array,
  foldDown10ms: Float64Array | null = null,
  layout: Measured['layout'] = '5.1',
): Measured {
  const frameCount = programme10ms.length * 480
  const hops = Math.ceil(programme10ms.length / 10)
  const linkedPeak100ms = Float64Array.from(
    { length: hops },
    (_, hop) => 4 * Math.sqrt(Math.max(...programme10ms.subarray(hop * 10, hop * 10 + 10))),
  )
  const value = linkedPeak100ms.reduce((highest, peak) => Math.max(highest, peak), 0)
  const peaks = { samplePeak: { value, frameIndex: 0 }, truePeak: { value, frameIndex: 0 } }
  const channelCount = layout === '5.1' ? 6 : 2
  const centre = layout === '5.1' ? 2 : null
  const channels100ms = new Float64Array(Math.floor(programme10ms.length / 10) * channelCount)
  if (centre !== null) {
    for (const [hop, power] of toHops(programme10ms).entries()) channels100ms[hop * channelCount + centre] = power
  }
  return {
    sampleRateHz: 48000,
    layout,
    frameCount,
    programme10ms,
    foldDown10ms,
    channels100ms,
    linkedPeak100ms,
    lfePeak100ms: layout === '5.1' ? new Float64Array(hops) : null,
    truePeak100ms: null,
    foldDownTruePeak100ms: null,
    channels: new Array(channelCount).fill(peaks),
    foldDown: foldDown10ms === null ? null : [peaks, peaks],
    nonFiniteSampleCount: 0,
  }
}

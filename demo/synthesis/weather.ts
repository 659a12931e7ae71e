import { filtered, pinkened } from './filters.ts'
import { between, type Random, whiteNoise } from './random.ts'
import { framesOf, gainOf, SAMPLE_RATE_HZ, shape, sum } from './signal.ts'

/** Waves on a shingle shore for one channel: a steady body, and crests that rise, break and hiss out. */
export function sea(random: Random, crests: readonly number[], durationSeconds: number): Float32Array {
  const frameCount = framesOf(durationSeconds)
  const crestAt = (seconds: number, riseSeconds: number, fallSeconds: number) => {
    let level = 0
    for (const crest of crests) {
      const since = seconds - crest
      if (since > -4 * riseSeconds && since < 6 * fallSeconds)
        level += since < 0 ? Math.exp(since / riseSeconds) : Math.exp(-since / fallSeconds)
    }
    return level
  }
  const body = filtered(filtered(pinkened(whiteNoise(random, frameCount)), 'low', 900), 'high', 60)
  const breaking = filtered(pinkened(whiteNoise(random, frameCount)), 'band', 700, 0.5)
  const foam = filtered(filtered(whiteNoise(random, frameCount), 'high', 2500), 'low', 9000)
  return sum(
    shape(body, (seconds) => 0.35 + 0.4 * crestAt(seconds, 1.6, 1.8)),
    shape(breaking, (seconds) => 0.9 * crestAt(seconds, 0.7, 0.9)),
    shape(foam, (seconds) => 0.012 + 0.09 * crestAt(seconds - 0.35, 0.5, 1.7)),
  )
}

/** Times at which waves break: about every seven seconds, never quite. */
export function crestTimes(random: Random, durationSeconds: number): number[] {
  const crests: number[] = []
  for (let at = -3; at < durationSeconds; at += between(random, 5.2, 8.8)) crests.push(at)
  return crests
}

/** Rain for one channel: single drops, each a short ring, over a fine bed; `densityAt` is drops a second. */
export function rain(random: Random, densityAt: (seconds: number) => number, durationSeconds: number): Float32Array {
  const frameCount = framesOf(durationSeconds)
  const bed = shape(filtered(filtered(whiteNoise(random, frameCount), 'high', 1800), 'low', 8000), (seconds) => {
    const density = densityAt(seconds)
    return 0.0011 * Math.sqrt(density)
  })
  const blockSeconds = 0.05
  for (let start = 0; start < durationSeconds; start += blockSeconds) {
    const drops = densityAt(start) * blockSeconds
    for (let d = random() < drops % 1 ? Math.ceil(drops) : Math.floor(drops); d > 0; d--) {
      const level = 0.05 * random() ** 4 + 0.002
      ring(
        bed,
        framesOf(start + blockSeconds * random()),
        between(random, 1500, 7500),
        level,
        between(random, 0.001, 0.005),
      )
    }
  }
  return bed
}

/** Adds a sine that starts at once and dies away. */
export function ring(
  signal: Float32Array,
  start: number,
  frequencyHz: number,
  level: number,
  decaySeconds: number,
): void {
  const angle = (2 * Math.PI * frequencyHz) / SAMPLE_RATE_HZ
  const decay = Math.exp(-1 / (decaySeconds * SAMPLE_RATE_HZ))
  const cos = decay * Math.cos(angle)
  const sin = decay * Math.sin(angle)
  const end = Math.min(signal.length, start + framesOf(decaySeconds * 7))
  let real = level
  let imaginary = 0
  for (let f = Math.max(0, start); f < end; f++) {
    signal[f] = signal[f] + imaginary
    const next = real * cos - imaginary * sin
    imaginary = real * sin + imaginary * cos
    real = next
  }
}

/** Wind for one channel: noise through a resonance that wanders with the gusts. */
export function wind(random: Random, strengthAt: (seconds: number) => number, durationSeconds: number): Float32Array {
  const phases = [random(), random(), random()].map((turn) => turn * 2 * Math.PI)
  const gust = (seconds: number) =>
    0.6 + 0.25 * Math.sin(0.61 * seconds + phases[0]) + 0.15 * Math.sin(1.73 * seconds + phases[1])
  const noise = pinkened(whiteNoise(random, framesOf(durationSeconds)))
  const howl = filtered(noise, 'band', (seconds) => 260 + 420 * strengthAt(seconds) * gust(seconds), 3)
  const low = filtered(noise, 'low', 180)
  return shape(sum(howl, low), (seconds) => strengthAt(seconds) * gust(seconds) ** 2)
}

/** A thunderclap close by, for one channel: a torn crack, then a rumble that rolls off. `cracks` are shared by the channels. */
export function thunder(random: Random, cracks: readonly { atSeconds: number; levelDb: number }[]): Float32Array {
  const durationSeconds = 9
  const frameCount = framesOf(durationSeconds)
  const crack = filtered(whiteNoise(random, frameCount), 'high', 250)
  shape(crack, (seconds) => {
    let level = 0
    for (const { atSeconds, levelDb } of cracks) {
      if (seconds >= atSeconds) level += gainOf(levelDb) * Math.exp(-(seconds - atSeconds) / 0.055)
    }
    return level
  })
  const brown = filtered(filtered(pinkened(whiteNoise(random, frameCount)), 'low', 160), 'high', 38)
  const rolls = Array.from({ length: 14 }, () => [between(random, 0.1, 6), between(random, 0.3, 1)] as const)
  shape(brown, (seconds) => {
    let level = 0
    for (const [atSeconds, strength] of rolls) {
      const since = seconds - atSeconds
      if (since > 0) level += strength * Math.min(1, since / 0.08) * Math.exp(-since / 0.7)
    }
    return 1.25 * level * Math.exp(-seconds / 3)
  })
  return sum(
    shape(crack, () => 0.48),
    brown,
  )
}

/** The strokes of one lightning channel, as the ear meets them. */
export function crackTimes(random: Random): { atSeconds: number; levelDb: number }[] {
  const strokes = [{ atSeconds: 0.02, levelDb: 0 }]
  for (let at = 0.06; at < 0.6; at += between(random, 0.02, 0.09))
    strokes.push({ atSeconds: at, levelDb: -4 - 22 * at })
  return strokes
}

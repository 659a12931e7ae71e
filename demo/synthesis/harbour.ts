import { filtered } from './filters.ts'
import { between, type Random, whiteNoise } from './random.ts'
import { atSpeed, curve, framesOf, SAMPLE_RATE_HZ, shape, sum } from './signal.ts'
import { ring } from './weather.ts'

/** Many people talking at once, for one channel: the spoken lines at many speeds and places, blurred by distance. */
export function murmur(random: Random, lines: readonly Float32Array[], durationSeconds: number): Float32Array {
  const crowd = new Float32Array(framesOf(durationSeconds))
  for (let talker = 0; talker < 16; talker++) {
    for (let at = -4 * random(); at < durationSeconds; ) {
      const line = lines[Math.floor(random() * lines.length)] as Float32Array
      const spoken = atSpeed(line, between(random, 0.78, 1.3))
      const start = framesOf(at)
      const level = between(random, 0.06, 0.2)
      for (let f = Math.max(0, -start); f < spoken.length && start + f < crowd.length; f++)
        crowd[start + f] = crowd[start + f] + level * spoken[f]
      at += spoken.length / SAMPLE_RATE_HZ + between(random, 0.1, 1.6)
    }
  }
  return filtered(filtered(crowd, 'low', 2600), 'high', 180)
}

/** Hands clapping, for one channel: each pair keeps a time of its own. */
export function applause(
  random: Random,
  densityAt: (seconds: number) => number,
  durationSeconds: number,
): Float32Array {
  const claps = new Float32Array(framesOf(durationSeconds))
  for (let pair = 0; pair < 70; pair++) {
    const period = between(random, 0.19, 0.34)
    const toneHz = between(random, 800, 2300)
    const nearness = 0.03 + 0.22 * random() ** 3
    const threshold = random()
    for (let at = random() * period; at < durationSeconds; at += period * between(random, 0.9, 1.1)) {
      if (densityAt(at) < threshold) continue
      ring(claps, framesOf(at), toneHz * between(random, 0.9, 1.1), nearness, 0.0022)
      ring(claps, framesOf(at), 2.3 * toneHz, 0.6 * nearness, 0.0012)
      ring(claps, framesOf(at + 0.011), 1.4 * toneHz, 0.3 * nearness, 0.004)
    }
  }
  return claps
}

/** A cheer, for one channel: many throats on an open vowel. */
export function cheer(random: Random, levelAt: (seconds: number) => number, durationSeconds: number): Float32Array {
  const frameCount = framesOf(durationSeconds)
  const voices = new Float32Array(frameCount)
  for (let throat = 0; throat < 24; throat++) {
    const pitch = between(random, 140, 420)
    const wander = between(random, 0.5, 1.4)
    for (
      let at = random() / pitch;
      at < durationSeconds;
      at += 1 / (pitch * (1 + 0.06 * Math.sin(wander * at + throat)))
    ) {
      const frame = framesOf(at)
      if (frame < frameCount) voices[frame] = voices[frame] + 1
    }
  }
  const breath = whiteNoise(random, frameCount).map((sample, f) => 0.35 * sample + voices[f])
  const vowel = sum(
    filtered(breath, 'band', 760, 4),
    filtered(breath, 'band', 1180, 5),
    filtered(breath, 'band', 2600, 6),
  )
  return shape(vowel, (seconds) => 0.5 * levelAt(seconds))
}

/** A boat's single-cylinder engine: one firing after the other through an exhaust, and the thump that it sends through the water. */
export function boatEngine(random: Random, firingsPerSecond: number, durationSeconds: number) {
  const firings = new Float32Array(framesOf(durationSeconds))
  for (let at = 0; at < durationSeconds; at += between(random, 0.95, 1.05) / firingsPerSecond)
    firings[framesOf(at)] = between(random, 0.7, 1)
  const exhaust = sum(
    filtered(firings, 'band', 118, 5),
    filtered(firings, 'band', 246, 6),
    filtered(firings, 'band', 587, 4),
  )
  const spray = filtered(whiteNoise(random, firings.length), 'band', 1600, 0.6)
  const thump = filtered(filtered(firings, 'band', 46, 4), 'low', 90)
  return {
    air: sum(
      shape(exhaust, () => 9),
      shape(spray, () => 0.05),
    ),
    water: shape(thump, () => 26),
  }
}

/** A steamer's horn: two reeds a minor third apart. */
export function horn(random: Random, durationSeconds: number): Float32Array {
  const sound = new Float32Array(framesOf(durationSeconds))
  for (const frequencyHz of [147.2, 174.8]) {
    let phase = random()
    for (let f = 0; f < sound.length; f++) {
      phase += frequencyHz / SAMPLE_RATE_HZ
      if (phase >= 1) phase -= 1
      sound[f] = sound[f] + 0.3 * (2 * phase - 1) + 0.3 * Math.sin(2 * Math.PI * phase)
    }
  }
  const breath = curve([0, 0], [0.18, 1], [durationSeconds - 0.3, 0.95], [durationSeconds, 0])
  return shape(filtered(sound, 'low', 1100), breath)
}

/** The starting gun, a small cannon on the quay: its report and the push of air under it. */
export function gun(random: Random) {
  const report = filtered(whiteNoise(random, framesOf(1.6)), 'low', (seconds) => 300 + 7000 * Math.exp(-seconds / 0.05))
  shape(report, (seconds) => 1.3 * Math.exp(-seconds / 0.07) + 0.25 * Math.exp(-seconds / 0.35))
  const push = new Float32Array(framesOf(1.2))
  ring(push, 0, 41, 1, 0.22)
  ring(push, 0, 63, 0.6, 0.13)
  return { report, push }
}

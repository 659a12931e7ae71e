import { filtered } from './filters.ts'
import { between, type Random, whiteNoise } from './random.ts'
import { curve, framesOf, SAMPLE_RATE_HZ, shape, sum } from './signal.ts'
import { ring } from './weather.ts'

/** One step on wet gravel: heel, then toe, each a handful of stones that shift. */
export function gravelStep(random: Random): Float32Array {
  const step = new Float32Array(framesOf(0.5))
  for (let stone = 0; stone < 90; stone++) {
    const isHeel = random() < 0.45
    const atSeconds = isHeel ? 0.02 + 0.05 * random() : 0.11 + 0.13 * random() ** 0.7
    ring(
      step,
      framesOf(atSeconds),
      between(random, 700, 5200),
      between(random, 0.02, 0.16),
      between(random, 0.0015, 0.006),
    )
  }
  const thud = shape(
    filtered(whiteNoise(random, step.length), 'low', 190),
    (seconds) => 0.9 * Math.exp(-seconds / 0.03),
  )
  return sum(step, thud)
}

/** One step on floorboards. */
export function boardStep(random: Random): Float32Array {
  const step = shape(
    filtered(whiteNoise(random, framesOf(0.4)), 'low', 1400),
    (seconds) => 0.5 * Math.exp(-seconds / 0.009),
  )
  for (const [frequencyHz, decaySeconds] of [
    [92, 0.09],
    [171, 0.06],
    [334, 0.03],
  ] as const)
    ring(step, 0, frequencyHz * between(random, 0.94, 1.06), 0.35, decaySeconds)
  return step
}

/** A door that creaks open: stick and slip, ever faster, through the resonances of its boards. */
export function doorCreak(random: Random): Float32Array {
  const durationSeconds = 1.5
  const slips = new Float32Array(framesOf(durationSeconds))
  for (let at = 0.05; at < durationSeconds; ) {
    slips[framesOf(at)] = between(random, 0.5, 1)
    at += (1 / (38 + 75 * at + 22 * Math.sin(5 * at))) * between(random, 0.93, 1.07)
  }
  const swell = curve([0, 0], [0.25, 0.7], [0.9, 1], [1.35, 0.5], [1.5, 0])
  return shape(
    sum(filtered(slips, 'band', 620, 9), filtered(slips, 'band', 1240, 11), filtered(slips, 'band', 2350, 8)),
    (seconds) => 5 * swell(seconds),
  )
}

/** The same door shut: the boards, then the latch. */
export function doorShut(random: Random): Float32Array {
  const shut = shape(
    filtered(whiteNoise(random, framesOf(0.7)), 'low', 420, 1.2),
    (seconds) => 1.6 * Math.exp(-seconds / 0.035),
  )
  for (const frequencyHz of [74, 118, 203]) ring(shut, 0, frequencyHz, 0.5, 0.11)
  for (const frequencyHz of [1460, 2870, 4310]) ring(shut, framesOf(0.07), frequencyHz, 0.12, 0.012)
  return shut
}

/** One tick of a long-case clock; every second one is a tock. */
export function tick(isTock: boolean): Float32Array {
  const sound = new Float32Array(framesOf(0.12))
  const scale = isTock ? 0.82 : 1
  for (const [frequencyHz, level, decaySeconds] of [
    [2150, 0.5, 0.006],
    [3720, 0.35, 0.004],
    [890, 0.4, 0.014],
  ] as const)
    ring(sound, 0, frequencyHz * scale, level, decaySeconds)
  return sound
}

/** The call of a herring gull: three to five cries that bend up and fall. */
export function gullCall(random: Random): Float32Array {
  const cries = 3 + Math.floor(random() * 3)
  const call = new Float32Array(framesOf(cries * 0.52 + 0.4))
  const pitch = between(random, 0.9, 1.12)
  for (let cry = 0; cry < cries; cry++) {
    const lengthSeconds = between(random, 0.28, 0.4)
    const bend = curve([0, 720], [0.25 * lengthSeconds, 1330], [0.6 * lengthSeconds, 1120], [lengthSeconds, 690])
    const loud = curve([0, 0], [0.12 * lengthSeconds, 1], [0.7 * lengthSeconds, 0.8], [lengthSeconds, 0])
    const start = framesOf(cry * between(random, 0.44, 0.52))
    let phase = 0
    for (let f = 0; f < framesOf(lengthSeconds); f++) {
      const seconds = f / SAMPLE_RATE_HZ
      phase +=
        (2 * Math.PI * pitch * bend(seconds) * (1 + 0.012 * Math.sin(2 * Math.PI * 31 * seconds))) / SAMPLE_RATE_HZ
      const voice = Math.sin(phase) + 0.8 * Math.sin(2 * phase) + 0.5 * Math.sin(3 * phase) + 0.25 * Math.sin(4 * phase)
      call[start + f] = call[start + f] + 0.3 * loud(seconds) * voice
    }
  }
  return call
}

/** A distant church bell: partials of a cast bell (hum, prime, tierce, quint, nominal and above), each with its own decay. */
export function bell(primeHz: number): Float32Array {
  const sound = new Float32Array(framesOf(9))
  const partials = [
    [0.5, 0.5, 3.2],
    [1, 0.55, 2],
    [1.19, 0.45, 1.5],
    [1.5, 0.22, 1.1],
    [2, 0.5, 0.9],
    [2.51, 0.2, 0.55],
    [3.01, 0.2, 0.4],
    [4.17, 0.13, 0.25],
  ] as const
  for (const [ratio, level, decaySeconds] of partials) {
    ring(sound, 0, primeHz * ratio, level / 2, decaySeconds)
    // No bell is quite round, so each partial is two that beat.
    ring(sound, 0, primeHz * ratio * 1.0016, level / 3, decaySeconds)
  }
  return sound
}

// Whether the samples bear out what was said of them, by plain arithmetic that shares nothing with the detectors.
import { type FrameRange, LAYOUTS, type Role } from '../../src/domain/index.ts'
import type { Finding } from './look.ts'
import type { Sound } from './material.ts'

const FULL_SCALE_STEP = 2 ** -23
const HALF_TAPS = 64
/** A true-peak meter may read 0.2 dB more than there is. @source EBU Tech 3341, tolerance of the true-peak tests */
const LEAST_OVER = 10 ** (-0.2 / 20)
/** What is proposed as the end or a break of a programme holds nothing but the master's own noise. */
const MOST_IN_SILENCE_DB = -55
const POINTS = 16

/** What was looked at in the samples one by one and is what it is said to be. */
const GENUINE = [
  // Two samples stand 1500 steps of 16 bits off a wave that is smooth on both sides.
  { programme: 'return_to_wesnoth.ogg', id: 'click' },
  // One of the prompts is the beep of an answering machine.
  { programme: 'asterisk-core-sounds-en-wav', id: 'tone (beep)' },
]

export function isGenuine(programme: string, { id }: Finding): boolean {
  return GENUINE.some((known) => known.programme === programme && known.id === id)
}

/** True or false where counting tells; null where only a look at the samples does. */
export function isBorneOut(finding: Finding, sound: Sound): boolean | null {
  const { id, places, channels } = finding
  const plane = (role: Role) => sound.planes[LAYOUTS[sound.layout].indexOf(role)] as Float32Array
  const everywhere = (is: (role: Role, place: FrameRange) => boolean) =>
    channels.every((role) => places.every((place) => is(role, place)))
  switch (id) {
    case 'inter-sample-over':
      return everywhere((role, place) => highestBetween(plane(role), place) >= LEAST_OVER)
    case 'clipped':
      return everywhere((role, place) => isCap(plane(role), place))
    case 'dc-offset':
      return everywhere((role, place) => Math.abs(mean(plane(role), place)) >= 0.0007)
    case 'digital-silence':
      return everywhere((role, { startFrame, endFrame }) =>
        plane(role)
          .subarray(startFrame, endFrame)
          .every((x) => x === 0),
      )
    case 'dead-channel':
      return everywhere((role) => rms(plane(role)) < 10 ** (-90 / 20))
    case 'tail':
    case 'break':
      return everywhere((role, { startFrame, endFrame }) => {
        return rms(plane(role).subarray(startFrame, endFrame)) < 10 ** (MOST_IN_SILENCE_DB / 20)
      })
    case 'mono-loss':
      return sound.layout === '2.0' ? places.every((place) => monoLossDb(sound, place) <= -5) : null
    default:
      return null
  }
}

/**
 * The highest point of the band-limited wave through the samples around a place.
 * @source Shannon's sampling theorem: a sinc for each sample, here of 129 samples under a raised cosine
 */
function highestBetween(plane: Float32Array, { startFrame, endFrame }: FrameRange): number {
  let highest = 0
  for (let frame = Math.max(HALF_TAPS, startFrame - 2); frame < endFrame + 2; frame++) {
    for (let point = 0; point < POINTS; point++) {
      const share = point / POINTS
      let sum = 0
      for (let k = -HALF_TAPS; k <= HALF_TAPS; k++) {
        const x = Math.PI * (share - k)
        const window = 0.5 + 0.5 * Math.cos(x / (HALF_TAPS + 1))
        sum += (plane[frame + k] ?? 0) * window * (Math.abs(x) < 1e-9 ? 1 : Math.sin(x) / x)
      }
      highest = Math.max(highest, Math.abs(sum))
    }
  }
  return highest
}

/** A clipper leaves many samples at one highest value, and far fewer at the values next below it. */
function isCap(plane: Float32Array, { startFrame, endFrame }: FrameRange): boolean {
  const level = plane[startFrame] as number
  const sign = Math.sign(level)
  const width = Math.max(4 * FULL_SCALE_STEP, Math.abs(level) * 2e-4)
  const second = 48000
  let at = 0
  let below = 0
  for (let n = Math.max(0, startFrame - second); n < Math.min(plane.length, endFrame + second); n++) {
    const under = sign * (level - (plane[n] as number))
    if (Math.abs(under) <= width) at += 1
    else if (under > width && under <= 3 * width) below += 1
  }
  return endFrame - startFrame >= 3 && at >= 3 * Math.max(1, below)
}

function mean(plane: Float32Array, { startFrame, endFrame }: FrameRange): number {
  let sum = 0
  for (let n = startFrame; n < endFrame; n++) sum += plane[n] as number
  return sum / (endFrame - startFrame)
}

function rms(plane: Float32Array): number {
  return Math.sqrt(plane.reduce((sum, x) => sum + x * x, 0) / plane.length)
}

function monoLossDb({ planes }: Sound, { startFrame, endFrame }: FrameRange): number {
  const [left, right] = planes as [Float32Array, Float32Array]
  let sum = 0
  let both = 0
  for (let n = startFrame; n < endFrame; n++) {
    const [l, r] = [left[n] as number, right[n] as number]
    sum += (l + r) ** 2
    both += l * l + r * r
  }
  return 10 * Math.log10(sum / both)
}

// Masters laid out as the trade lays them: line-up tone, slate, leader, acts, breaks, textless elements, tail pop.
import { recording } from './inspected.ts'
import { seededRandom } from './programmes.ts'

const MUSIC = '/usr/share/games/singularity/music'
const known = new Map<string, Float32Array[]>()

/** The beginning of a real track, 48 kHz stereo. */
export function track(name: string, seconds: number): Float32Array[] {
  const key = `${name} ${seconds}`
  const planes = known.get(key) ?? recording(`${MUSIC}/${name}.ogg`, 2, 48000, seconds)
  known.set(key, planes)
  return planes
}

/** A sine of this level (0 dBFS reaches full scale) that begins at phase 0. */
export function sine(frequencyHz: number, levelDbfs: number, frames: number, sampleRateHz = 48000): Float32Array {
  const amplitude = 10 ** (levelDbfs / 20)
  return Float32Array.from(
    { length: frames },
    (_, n) => amplitude * Math.sin((2 * Math.PI * frequencyHz * n) / sampleRateHz),
  )
}

/** A tape to lay things on, with hiss of this level on every channel (none at -Infinity). */
export class Master {
  readonly planes: Float32Array[]

  constructor(channelCount: number, frames: number, hissDbfs = Number.NEGATIVE_INFINITY) {
    const random = seededRandom(5)
    // Evenly distributed noise between -a and a has the level a / sqrt(3).
    const a = Math.sqrt(3) * 10 ** (hissDbfs / 20)
    this.planes = Array.from({ length: channelCount }, () =>
      Float32Array.from({ length: frames }, () => (a === 0 ? 0 : a * (2 * random() - 1))),
    )
  }

  /** Adds `sound` (one plane for all `channels`, or one each) at a frame. */
  lay(frame: number, sound: Float32Array | readonly Float32Array[], channels = [...this.planes.keys()]): this {
    channels.forEach((channel, index) => {
      const from = sound instanceof Float32Array ? sound : sound[index]!
      const to = this.planes[channel]!
      for (let n = 0; n < from.length; n++) to[frame + n]! += from[n]!
    })
    return this
  }
}

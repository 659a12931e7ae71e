import type { Role } from '../domain/index.ts'

const K = Math.SQRT1_2

/** The word nearest to a number of steps, half up, held at the word's ends. */
export function wordOf(steps: number, fullScale: number): number {
  return Math.max(-fullScale, Math.min(fullScale - 1, Math.floor(steps + 0.5)))
}

/** The front word of a stereo, a centre and a surround word; moves the surround where the sum lies on a tie. */
export function frontOf(
  stereo: number,
  centre: number,
  surround: number,
  fullScale: number,
): { front: number; surround: number } {
  const sum = stereo - K * (centre + surround)
  const isOnTie = Math.abs(sum - Math.floor(sum) - 0.5) < 2 ** -20
  if (!isOnTie) return { front: wordOf(sum, fullScale), surround }
  const moved = surround < fullScale - 1 ? surround + 1 : surround - 1
  return { front: wordOf(stereo - K * (centre + moved), fullScale), surround: moved }
}

const CHANNELS: readonly Role[] = ['M', 'L', 'R', 'C', 'LFE', 'Ls', 'Rs', 'Lrs', 'Rrs']

/** Triangular dither of one frame of one channel, in steps of the word: two 16-bit halves of a hash, added. */
export function ditherOf(seed: readonly [number, number], role: Role, frame: number): number {
  const mixed = (value: number) => {
    let h = value | 0
    h = Math.imul(h ^ (h >>> 16), 0x7feb352d)
    h = Math.imul(h ^ (h >>> 15), 0x846ca68b)
    return h ^ (h >>> 16)
  }
  const channel = CHANNELS.indexOf(role) + 1
  const high = Math.floor(frame / 2 ** 32)
  const key0 = mixed(seed[0] ^ mixed(channel) ^ mixed(high + 0x51ed270b))
  const key1 = mixed(seed[1] ^ mixed(key0 + channel))
  let h = Math.imul((frame % 2 ** 32) | 0, 0x9e3779b1) ^ key0
  h ^= h >>> 16
  h = Math.imul(h, 0x7feb352d)
  h ^= h >>> 15
  h = Math.imul((h + key1) | 0, 0x846ca68b)
  h ^= h >>> 16
  h = Math.imul(h, 0x21f0aaad)
  h ^= h >>> 15
  h = Math.imul(h, 0x735a2d97)
  h ^= h >>> 15
  return ((h & 0xffff) + (h >>> 16) - 65535) / 65536
}

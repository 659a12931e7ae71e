import type { PartEnergies, TitleHead } from './desk-messages.ts'

/** Sections begin at multiples of this, so that the page can look at them in place. */
const ALIGNMENT = 8

const ARRAYS = {
  powers10ms: Float64Array,
  foldDown10ms: Float64Array,
  truePeak100ms: Float32Array,
  foldDownTruePeak100ms: Float32Array,
  channels100ms: Float32Array,
  isSpeech100ms: Uint8Array,
  isSpoken100ms: Uint8Array,
} as const

const NAMES = Object.keys(ARRAYS) as (keyof PartEnergies)[]

type Lengths = readonly Readonly<Record<keyof PartEnergies, number>>[]

/**
 * A title as one run of bytes: the length of the head in bytes (32 bits, little-endian), the head as JSON with the
 * lengths of all arrays, then the arrays one after the other, each on a multiple of eight bytes.
 */
export function packTitle(head: TitleHead, parts: readonly PartEnergies[]): Uint8Array<ArrayBuffer> {
  const lengths: Lengths = parts.map(
    (part) => Object.fromEntries(NAMES.map((name) => [name, part[name].length])) as Lengths[number],
  )
  const json = new TextEncoder().encode(JSON.stringify({ head, lengths }))
  const arrays = parts.flatMap((part) => NAMES.map((name) => part[name]))
  const start = aligned(4 + json.length)
  const packed = new Uint8Array(arrays.reduce((end, array) => end + aligned(array.byteLength), start))
  new DataView(packed.buffer).setUint32(0, json.length, true)
  packed.set(json, 4)
  let next = start
  for (const { buffer, byteOffset, byteLength } of arrays) {
    packed.set(new Uint8Array(buffer, byteOffset, byteLength), next)
    next += aligned(byteLength)
  }
  return packed
}

/** The arrays look into `packed`: nothing is copied. */
export function unpackTitle(packed: ArrayBuffer): {
  readonly head: TitleHead
  readonly parts: readonly PartEnergies[]
} {
  const length = new DataView(packed).getUint32(0, true)
  const json = new TextDecoder().decode(new Uint8Array(packed, 4, length))
  const { head, lengths } = JSON.parse(json) as { readonly head: TitleHead; readonly lengths: Lengths }
  let next = aligned(4 + length)
  const parts = lengths.map((own) => {
    const entries = NAMES.map((name) => {
      const array = new ARRAYS[name](packed, next, own[name])
      next += aligned(array.byteLength)
      return [name, array] as const
    })
    return Object.fromEntries(entries) as unknown as PartEnergies
  })
  return { head, parts }
}

function aligned(bytes: number): number {
  return Math.ceil(bytes / ALIGNMENT) * ALIGNMENT
}

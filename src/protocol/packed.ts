/** Sections begin at multiples of this, so that the page can look at them in place. */
const ALIGNMENT = 8

const KINDS = { Float64Array, Float32Array, Int16Array, Uint8Array } as const

type Series = InstanceType<(typeof KINDS)[keyof typeof KINDS]>

/** Stands in the text for an array: its kind, where it begins behind the text, how many values it has. */
type Place = { readonly packed: readonly [keyof typeof KINDS, number, number] }

/**
 * A value as JSON has it, with numbers in typed arrays anywhere in it, as one run of bytes: the length of the text in
 * bytes (32 bits, little-endian), the text, then the arrays one after the other, each on a multiple of eight bytes. Every
 * number of an array arrives as it was.
 */
export function pack(value: object): Uint8Array<ArrayBuffer> {
  const arrays: Series[] = []
  let next = 0
  const json = JSON.stringify(value, (_, one) => {
    const kind = kindOf(one)
    if (kind === null) return one
    const place: Place = { packed: [kind, next, one.length] }
    arrays.push(one)
    next += aligned(one.byteLength)
    return place
  })
  const text = new TextEncoder().encode(json)
  const start = aligned(4 + text.length)
  const packed = new Uint8Array(start + next)
  new DataView(packed.buffer).setUint32(0, text.length, true)
  packed.set(text, 4)
  let at = start
  for (const { buffer, byteOffset, byteLength } of arrays) {
    packed.set(new Uint8Array(buffer, byteOffset, byteLength), at)
    at += aligned(byteLength)
  }
  return packed
}

/**
 * @param isCopied arrays that stand by themselves, so that one can be sent on without all others; else they look into
 * `packed`, and nothing is copied
 */
export function unpack(packed: ArrayBuffer, isCopied: boolean): unknown {
  const length = new DataView(packed).getUint32(0, true)
  const start = aligned(4 + length)
  return JSON.parse(new TextDecoder().decode(new Uint8Array(packed, 4, length)), (_, one) => {
    if (!isPlace(one)) return one
    const [kind, at, count] = one.packed
    const series = new KINDS[kind](packed, start + at, count)
    return isCopied ? series.slice() : series
  })
}

function kindOf(value: unknown): keyof typeof KINDS | null {
  if (!ArrayBuffer.isView(value)) return null
  const name = value.constructor.name as keyof typeof KINDS
  return name in KINDS ? name : null
}

function isPlace(value: unknown): value is Place {
  return typeof value === 'object' && value !== null && 'packed' in value
}

function aligned(bytes: number): number {
  return Math.ceil(bytes / ALIGNMENT) * ALIGNMENT
}

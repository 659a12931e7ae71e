import { gatePower, gatingBlocks, HOPS_PER_SECOND, type Place } from '../../domain/index.ts'

/** How many seconds of gating blocks count under one gain and not under the other, and the longest run of them. */
export function changedGates(
  someHops: Float64Array,
  otherHops: Float64Array,
): { readonly seconds: number; readonly longest: Place | null } {
  const some = countingBlocks(someHops)
  const other = countingBlocks(otherHops)
  let count = 0
  let longest = { first: 0, end: 0 }
  let first = 0
  for (let block = 0; block < some.length; block++) {
    if (some[block] === other[block]) {
      first = block + 1
      continue
    }
    count++
    if (block + 1 - first > longest.end - longest.first) longest = { first, end: block + 1 }
  }
  const at =
    count === 0
      ? null
      : { startSeconds: longest.first / HOPS_PER_SECOND, endSeconds: longest.end / HOPS_PER_SECOND, timecode: null }
  return { seconds: count / HOPS_PER_SECOND, longest: at }
}

/** 1 for each gating block that counts in the programme loudness. */
function countingBlocks(hops: Float64Array): Uint8Array {
  const blocks = gatingBlocks(hops)
  const gate = gatePower([blocks]) ?? Number.POSITIVE_INFINITY
  return Uint8Array.from(blocks, (power) => (power > gate ? 1 : 0))
}

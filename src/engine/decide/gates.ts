import { HOPS_PER_SECOND, type Place } from '../../domain/index.ts'
import { gatingBlocks } from './loudness-shim.ts'

/** How many seconds of gating blocks count under one gain and not under the other, and the longest run of them. */
export function changedGates(
  someHops: Float64Array,
  otherHops: Float64Array,
): { readonly seconds: number; readonly longest: Place | null } {
  const some = gatingBlocks(someHops)
  const other = gatingBlocks(otherHops)
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

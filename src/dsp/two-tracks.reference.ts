/** Sums of squares left and right, sums left and right, and the sum of products. */
export function momentsReference(left: Float32Array, right: Float32Array): number[] {
  const sums = [0, 0, 0, 0, 0]
  for (let n = 0; n < left.length; n++) {
    const [l, r] = [left[n]!, right[n]!]
    for (const [at, value] of [l * l, r * r, l, r, l * r].entries()) sums[at]! += value
  }
  return sums
}

/** Frames from 1 on at which a track has gone to the other side of zero by `share` of its highest magnitude. */
export function changesReference(track: Float32Array, share: number): number[] {
  const level = Math.fround(share * track.reduce((most, sample) => Math.max(most, Math.abs(sample)), 0))
  const frames: number[] = []
  let isHigh = track[0]! > 0
  for (let frame = 1; frame < track.length; frame++) {
    if (isHigh ? track[frame]! > -level : track[frame]! < level) continue
    isHigh = !isHigh
    frames.push(frame)
  }
  return frames
}

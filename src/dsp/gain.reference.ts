/** The gain of one frame of the programme under static gain and ride, linear: the equation as it is written. */
export function gainOfFrame(
  staticGainDb: number,
  rideDb: ArrayLike<number> | null,
  framesPerHop: number,
  frame: number,
): number {
  if (rideDb === null) return 10 ** (staticGainDb / 20)
  const position = Math.max(0, Math.min(rideDb.length - 1, frame / framesPerHop - 0.5))
  const before = Math.floor(position)
  const after = Math.min(before + 1, rideDb.length - 1)
  const share = position - before
  const ride = (1 - share) * (rideDb[before] as number) + share * (rideDb[after] as number)
  return 10 ** ((staticGainDb + ride) / 20)
}

import { dbToPower, FINE_HOPS_PER_HOP } from '../../domain/index.ts'

const HALF = FINE_HOPS_PER_HOP / 2

/**
 * Energies on the 10 ms grid under a gain with one point at each hop's centre: linear in dB between the points, held
 * before the first and after the last. The gain in the middle of a fine hop stands for the whole of it (at 20 dB/s the
 * error is below 0.001 dB).
 */
export function riddenEnergies(fineEnergies: Float64Array, gainsDb: Float64Array): Float64Array {
  const ridden = new Float64Array(fineEnergies.length)
  const lastPoint = gainsDb.length - 1
  let restingDb = 0
  let restingPower = 1
  for (let point = 0; point <= lastPoint + 1; point++) {
    // From the middle of the hop before to the middle of this one.
    const fromDb = gainsDb[Math.max(point - 1, 0)] as number
    const toDb = gainsDb[Math.min(point, lastPoint)] as number
    const first = Math.max(point * FINE_HOPS_PER_HOP - HALF, 0)
    const end = Math.min(point * FINE_HOPS_PER_HOP + HALF, fineEnergies.length)
    if (fromDb === toDb) {
      if (fromDb !== restingDb) restingPower = dbToPower(fromDb)
      restingDb = fromDb
      for (let i = first; i < end; i++) ridden[i] = (fineEnergies[i] as number) * restingPower
    } else {
      const stepDb = (toDb - fromDb) / FINE_HOPS_PER_HOP
      const ratio = dbToPower(stepDb)
      let power = dbToPower(fromDb + stepDb / 2)
      for (let i = first; i < end; i++) {
        ridden[i] = (fineEnergies[i] as number) * power
        power *= ratio
      }
    }
  }
  return ridden
}

/**
 * The same summed up to whole hops of 100 ms, given the hops at rest: only those under a moving gain are looked at
 * closely, which makes a search over many gains quick.
 */
export function riddenHops(fineEnergies: Float64Array, hops: Float64Array, gainsDb: Float64Array): Float64Array {
  const ridden = new Float64Array(hops.length)
  const lastPoint = gainsDb.length - 1
  let restingDb = 0
  let restingPower = 1
  for (let hop = 0; hop < hops.length; hop++) {
    const hereDb = gainsDb[hop] as number
    const beforeDb = gainsDb[Math.max(hop - 1, 0)] as number
    const afterDb = gainsDb[Math.min(hop + 1, lastPoint)] as number
    if (beforeDb === hereDb && hereDb === afterDb) {
      if (hereDb !== restingDb) restingPower = dbToPower(hereDb)
      restingDb = hereDb
      ridden[hop] = (hops[hop] as number) * restingPower
    } else {
      const first = hop * FINE_HOPS_PER_HOP
      const sum =
        sumUnderRamp(fineEnergies, first, (beforeDb + hereDb) / 2, (hereDb - beforeDb) / FINE_HOPS_PER_HOP) +
        sumUnderRamp(fineEnergies, first + HALF, hereDb, (afterDb - hereDb) / FINE_HOPS_PER_HOP)
      ridden[hop] = sum / FINE_HOPS_PER_HOP
    }
  }
  return ridden
}

/** Sum over half a hop, under a gain that starts at `startDb` and moves by `stepDb` in each fine hop. */
function sumUnderRamp(fineEnergies: Float64Array, first: number, startDb: number, stepDb: number): number {
  const ratio = dbToPower(stepDb)
  let power = dbToPower(startDb + stepDb / 2)
  let sum = 0
  for (let i = first; i < first + HALF; i++) {
    sum += (fineEnergies[i] as number) * power
    power *= ratio
  }
  return sum
}

/** Energies after the ceiling took `lossDb` (0 or less) from each hop. */
export function energiesAfterLoss(fineEnergies: Float64Array, lossDb: Float64Array): Float64Array {
  const lossPower = lossDb.map((loss) => (loss === 0 ? 1 : dbToPower(loss)))
  return fineEnergies.map((energy, i) => energy * (lossPower[Math.floor(i / FINE_HOPS_PER_HOP)] ?? 1))
}

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
  // Half a hop each, summed up: what lies before the middle of a hop was left over by the ramp towards it.
  let before = Number.NaN
  for (let hop = 0; hop < hops.length; hop++) {
    const hereDb = gainsDb[hop] as number
    const afterDb = gainsDb[Math.min(hop + 1, lastPoint)] as number
    const isResting = (gainsDb[Math.max(hop - 1, 0)] as number) === hereDb
    if (hereDb !== restingDb && (isResting || afterDb === hereDb)) {
      restingPower = dbToPower(hereDb)
      restingDb = hereDb
    }
    if (isResting && hereDb === afterDb) {
      ridden[hop] = (hops[hop] as number) * restingPower
      continue
    }
    const middle = hop * FINE_HOPS_PER_HOP + HALF
    const first = isResting ? sumOf(fineEnergies, middle - HALF, middle) * restingPower : before
    let second = 0
    if (hereDb === afterDb) {
      second = sumOf(fineEnergies, middle, middle + HALF) * restingPower
    } else {
      const stepDb = (afterDb - hereDb) / FINE_HOPS_PER_HOP
      const ratio = dbToPower(stepDb)
      let power = dbToPower(hereDb + stepDb / 2)
      for (let i = middle; i < middle + HALF; i++) {
        second += (fineEnergies[i] as number) * power
        power *= ratio
      }
      before = 0
      for (let i = middle + HALF; i < Math.min(middle + FINE_HOPS_PER_HOP, fineEnergies.length); i++) {
        before += (fineEnergies[i] as number) * power
        power *= ratio
      }
    }
    ridden[hop] = (first + second) / FINE_HOPS_PER_HOP
  }
  return ridden
}

function sumOf(energies: Float64Array, first: number, end: number): number {
  let sum = 0
  for (let i = first; i < end; i++) sum += energies[i] as number
  return sum
}

/** The gain of each hop's middle as a power ratio. */
export function hopPowers(gainsDb: Float64Array): Float64Array {
  const powers = new Float64Array(gainsDb.length)
  let lastDb = 0
  let power = 1
  for (let hop = 0; hop < powers.length; hop++) {
    const gainDb = gainsDb[hop] as number
    if (gainDb !== lastDb) power = dbToPower(gainDb)
    lastDb = gainDb
    powers[hop] = power
  }
  return powers
}

/** Energies after the ceiling took `lossDb` (0 or less) from each hop. */
export function energiesAfterLoss(fineEnergies: Float64Array, lossDb: Float64Array): Float64Array {
  const lossPower = lossDb.map((loss) => (loss === 0 ? 1 : dbToPower(loss)))
  return fineEnergies.map((energy, i) => energy * (lossPower[Math.floor(i / FINE_HOPS_PER_HOP)] ?? 1))
}

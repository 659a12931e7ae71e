/** Heights above which runs are looked for: what stands out of a run that has to be worked on can be spared alone. */
const HEIGHTS_DB = [0, 1, 2, 4, 8] as const

type Run = { readonly first: number; readonly end: number; readonly heightDb: number; readonly costPerHop: number }

/**
 * How far outside each hop counts once whole runs of hops are spared, as long as their length fits the budget: a spared
 * run counts like what surrounds it. Spared first are the runs whose work costs most movement for each hop that it
 * wins: deep and short.
 * @param excessDb how far each hop lies outside; 0 or less: inside
 * @param budgetHops how many hops may be spared
 */
export function spareRuns(excessDb: Float64Array, budgetHops: number): Float64Array {
  const runs = HEIGHTS_DB.flatMap((heightDb) => runsAbove(excessDb, heightDb))
  runs.sort((a, b) => b.costPerHop - a.costPerHop || a.first - b.first)
  const left = excessDb.slice()
  const isSpared = new Uint8Array(excessDb.length)
  let budget = budgetHops
  for (const { first, end, heightDb } of runs) {
    let length = 0
    for (let k = first; k < end; k++) length += 1 - (isSpared[k] as number)
    if (length > budget) continue
    budget -= length
    isSpared.fill(1, first, end)
    for (let k = first; k < end; k++) left[k] = Math.min(left[k] as number, heightDb)
  }
  return left
}

function runsAbove(excessDb: Float64Array, heightDb: number): Run[] {
  const runs: Run[] = []
  for (let first = 0; first < excessDb.length; first++) {
    if (!((excessDb[first] as number) > heightDb)) continue
    let end = first
    let deepest = heightDb
    for (; (excessDb[end] as number) > heightDb; end++) deepest = Math.max(deepest, excessDb[end] as number)
    runs.push({ first, end, heightDb, costPerHop: (deepest - heightDb) / (end - first) })
    first = end
  }
  return runs
}

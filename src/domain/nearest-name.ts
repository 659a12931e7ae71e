/** The valid name that is nearest to a mistyped one by edit distance, or null where none is near. */
export function nearestName(name: string, valid: readonly string[]): string | null {
  let best: string | null = null
  let bestDistance = Math.ceil(name.length / 2) + 1
  for (const candidate of valid) {
    const distance = editDistance(name.toLowerCase(), candidate.toLowerCase())
    if (distance < bestDistance) {
      best = candidate
      bestDistance = distance
    }
  }
  return best
}

/** Insertions, deletions and substitutions that turn one text into the other (Levenshtein 1966). */
function editDistance(from: string, to: string): number {
  let row = Array.from({ length: to.length + 1 }, (_, column) => column)
  for (let i = 1; i <= from.length; i++) {
    const next = [i]
    for (let j = 1; j <= to.length; j++) {
      const substituted = (row[j - 1] as number) + (from[i - 1] === to[j - 1] ? 0 : 1)
      next.push(Math.min(substituted, (row[j] as number) + 1, (next[j - 1] as number) + 1))
    }
    row = next
  }
  return row[to.length] as number
}

import { assert } from '../../domain/index.ts'

/**
 * The taut string through a corridor, both ends free: the curve g with lower <= g <= upper that moves least.
 *
 * Theorem: among all curves inside the corridor it minimises the sum of phi(g[k + 1] - g[k]) for every convex phi at
 * once, hence the total variation, the sum of squared steps and the largest step together. Where a constant fits, the
 * highest constant is given. Linear time: each point enters and leaves each wall once.
 * @param lower and @param upper of equal length, lower <= upper at every point
 * @source Barlow, Bartholomew, Bremner & Brunk 1972; Davies & Kovac, "Local extremes, runs, strings and
 *   multiresolution", 2001; the funnel of shortest paths: Lee & Preparata 1984
 */
export function tautString(lower: Float64Array, upper: Float64Array): Float64Array {
  const count = lower.length
  assert(upper.length === count, 'the walls of a corridor have equal length')
  const string = new Float64Array(count)
  if (count === 0) return string

  const knots = new Knots(count)
  const floor = new Wall(count, -1)
  const ceiling = new Wall(count, 1)
  const start = firstKnot(lower, upper)
  if (start === null) return string.fill(lowestOf(upper))

  knots.add(start.at, start.height)
  floor.restart(start.at, start.height)
  ceiling.restart(start.at, start.height)
  for (let k = start.at + 1; k < count; k++) {
    pull(ceiling, floor, k, upper[k] as number, knots)
    pull(floor, ceiling, k, lower[k] as number, knots)
  }
  relax(ceiling, knots)
  relax(floor, knots)
  return knots.drawInto(string, lower, upper)
}

/**
 * A free end rests level until the walls leave no level way. The first knot is the last point where the wall that is
 * about to be left is touched; null where a level string passes the whole corridor.
 */
function firstKnot(lower: Float64Array, upper: Float64Array): { at: number; height: number } | null {
  let highestFloorAt = 0
  let lowestCeilingAt = 0
  for (let k = 0; k < lower.length; k++) {
    const floor = lower[k] as number
    const ceiling = upper[k] as number
    const highestFloor = lower[highestFloorAt] as number
    const lowestCeiling = upper[lowestCeilingAt] as number
    assert(floor <= ceiling, 'the corridor is nowhere empty')
    if (ceiling < highestFloor) return { at: highestFloorAt, height: highestFloor }
    if (floor > lowestCeiling) return { at: lowestCeilingAt, height: lowestCeiling }
    if (floor >= highestFloor) highestFloorAt = k
    if (ceiling <= lowestCeiling) lowestCeilingAt = k
  }
  return null
}

/** Leads the string past point `k` of `wall`: where the wall hides the way, the string bends at points of the opposite wall. */
function pull(wall: Wall, opposite: Wall, k: number, height: number, knots: Knots): void {
  wall.dropHiddenBy(k, height)
  if (wall.isBare) {
    let bent = false
    while (!opposite.isBare && wall.sign * opposite.steepnessOfNextAgainst(k, height) > 0) {
      opposite.bendAtNext()
      knots.add(opposite.knotAt, opposite.knotHeight)
      bent = true
    }
    if (bent) wall.restart(opposite.knotAt, opposite.knotHeight)
  }
  wall.add(k, height)
}

/** The free end: the string follows a wall only as long as the wall pushes it away from level. */
function relax(wall: Wall, knots: Knots): void {
  while (!wall.isBare && wall.sign * wall.riseToNext < 0) {
    wall.bendAtNext()
    knots.add(wall.knotAt, wall.knotHeight)
  }
}

/**
 * A wall as seen from the last knot: the knot, then those points that a string pulled tight could touch next, in order
 * of time. The upper wall (sign 1) sags, the lower one (sign -1) bulges.
 */
class Wall {
  readonly sign: 1 | -1
  readonly #at: Int32Array
  readonly #height: Float64Array
  #knot = 0
  #last = 0

  constructor(pointCount: number, sign: 1 | -1) {
    this.sign = sign
    this.#at = new Int32Array(pointCount)
    this.#height = new Float64Array(pointCount)
  }

  get knotAt(): number {
    return this.#at[this.#knot] as number
  }

  get knotHeight(): number {
    return this.#height[this.#knot] as number
  }

  /** No point is in sight but the knot itself. */
  get isBare(): boolean {
    return this.#last === this.#knot
  }

  get riseToNext(): number {
    return (this.#height[this.#knot + 1] as number) - this.knotHeight
  }

  restart(at: number, height: number): void {
    this.#knot = 0
    this.#last = 0
    this.#at[0] = at
    this.#height[0] = height
  }

  add(at: number, height: number): void {
    this.#last++
    this.#at[this.#last] = at
    this.#height[this.#last] = height
  }

  bendAtNext(): void {
    this.#knot++
  }

  dropHiddenBy(at: number, height: number): void {
    while (!this.isBare && this.sign * this.#steepness(this.#last - 1, this.#last, at, height) >= 0) this.#last--
  }

  steepnessOfNextAgainst(at: number, height: number): number {
    return this.#steepness(this.#knot, this.#knot + 1, at, height)
  }

  /** Positive where the way from point i to point j is steeper than the way from point i to (at, height). */
  #steepness(i: number, j: number, at: number, height: number): number {
    const from = this.#at[i] as number
    const fromHeight = this.#height[i] as number
    const run = (this.#at[j] as number) - from
    const rise = (this.#height[j] as number) - fromHeight
    return rise * (at - from) - (height - fromHeight) * run
  }
}

/** The points where the string bends; level before the first and after the last. */
class Knots {
  readonly #at: Int32Array
  readonly #height: Float64Array
  #count = 0

  constructor(pointCount: number) {
    this.#at = new Int32Array(pointCount)
    this.#height = new Float64Array(pointCount)
  }

  add(at: number, height: number): void {
    this.#at[this.#count] = at
    this.#height[this.#count] = height
    this.#count++
  }

  drawInto(string: Float64Array, lower: Float64Array, upper: Float64Array): Float64Array {
    const last = this.#count - 1
    string.fill(this.#height[0] as number, 0, this.#at[0])
    for (let i = 0; i < last; i++) {
      const from = this.#at[i] as number
      const height = this.#height[i] as number
      const slope = ((this.#height[i + 1] as number) - height) / ((this.#at[i + 1] as number) - from)
      for (let k = from; k < (this.#at[i + 1] as number); k++) {
        // The division may leave the last bit outside a wall that the string touches between two knots.
        string[k] = Math.min(Math.max(height + slope * (k - from), lower[k] as number), upper[k] as number)
      }
    }
    return string.fill(this.#height[last] as number, this.#at[last])
  }
}

function lowestOf(values: Float64Array): number {
  let lowest = Number.POSITIVE_INFINITY
  for (const value of values) lowest = Math.min(lowest, value)
  return lowest
}

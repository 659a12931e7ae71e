/** A list of numbers that grows without being copied at every step. */
export class GrowingSeries {
  #values = new Float64Array(1024)
  #length = 0

  push(value: number): void {
    if (this.#length === this.#values.length) {
      const larger = new Float64Array(2 * this.#length)
      larger.set(this.#values)
      this.#values = larger
    }
    this.#values[this.#length] = value
    this.#length += 1
  }

  /** Raises the last values to these, in their order; does nothing where there are not as many. */
  raiseLast(values: readonly number[]): void {
    const first = this.#length - values.length
    if (first < 0) return
    for (const [i, value] of values.entries()) {
      this.#values[first + i] = Math.max(this.#values[first + i] as number, value)
    }
  }

  clear(): void {
    this.#length = 0
  }

  toArray(): Float64Array {
    return this.#values.slice(0, this.#length)
  }
}

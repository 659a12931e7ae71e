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

  clear(): void {
    this.#length = 0
  }

  toArray(): Float64Array {
    return this.#values.slice(0, this.#length)
  }
}

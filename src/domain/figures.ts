const MINUS = '\u2212'

/** A measured value as it is printed: one decimal for levels, a true minus sign, `not measured` for null. */
export function printFigure(value: number | null, decimals = 1): string {
  if (value === null) return 'not measured'
  const digits = Math.abs(value).toFixed(decimals)
  return value < 0 && Number(digits) !== 0 ? MINUS + digits : digits
}

/**
 * Which of two tracks is late, and by how much, as a sentence begins.
 * @param least of the delay of the right track against the left, in microseconds
 */
export function lateTrack(least: number, most: number): string {
  const us = (value: number) => printFigure(Math.abs(value), 0)
  if (least < 0 && most > 0)
    return `Now the left track is late, by up to ${us(least)} us, now the right, by up to ${us(most)} us`
  const [from, to] = [Math.min(Math.abs(least), Math.abs(most)), Math.max(Math.abs(least), Math.abs(most))]
  const range = us(from) === us(to) ? us(to) : `${us(from)} to ${us(to)}`
  return `The ${most > 0 ? 'right' : 'left'} track is late by ${range} us`
}

/** How often: once, twice, 3 times. */
export function printTimes(count: number): string {
  if (count === 1) return 'once'
  return count === 2 ? 'twice' : `${count} times`
}

/** The value that `printFigure` prints, as a number: what a reader of the page sees and what is judged. */
export function printedValue(value: number, decimals = 1): number {
  return Number(value.toFixed(decimals))
}

/** Seconds as `h:mm:ss`, or with `decimals` of a second. */
export function printTime(seconds: number, decimals = 0): string {
  const scale = Number(`1e${decimals}`)
  const ticks = Math.round(seconds * scale)
  const whole = Math.floor(ticks / scale)
  const two = (n: number) => String(n).padStart(2, '0')
  const rest = decimals === 0 ? '' : `.${String(ticks - whole * scale).padStart(decimals, '0')}`
  return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}${rest}`
}

const MINUS = '\u2212'

/** A measured value as it is printed: one decimal for levels, a true minus sign, `not measured` for null. */
export function printFigure(value: number | null, decimals = 1): string {
  if (value === null) return 'not measured'
  const digits = Math.abs(value).toFixed(decimals)
  return value < 0 && Number(digits) !== 0 ? MINUS + digits : digits
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

import type { DrawnCurve } from '../domain/index.ts'
import { px } from './markup.ts'

type Values = readonly (number | null)[]

/** A line through the values, broken where there are none. */
export function linePath(values: Values, x: (column: number) => number, y: (value: number) => number): string {
  let isDrawing = false
  let path = ''
  values.forEach((value, column) => {
    if (value === null) {
      isDrawing = false
      return
    }
    path += `${isDrawing ? 'L' : 'M'}${px(x(column))} ${px(y(value))}`
    isDrawing = true
  })
  return path
}

/** The filled shape between a floor and the values: one piece per run of columns that have a value. */
export function areaPath(
  values: Values,
  x: (column: number) => number,
  y: (value: number) => number,
  floorY: number,
): string {
  return runsOf(values)
    .map(({ first, last }) => {
      let path = `M${px(x(first))} ${px(floorY)}`
      for (let column = first; column <= last; column++) path += `L${px(x(column))} ${px(y(values[column] as number))}`
      return `${path}L${px(x(last))} ${px(floorY)}Z`
    })
    .join('')
}

/** The filled band between two rows of values, in one piece per run in which both have one. */
export function bandPath(
  lowest: Values,
  highest: Values,
  x: (column: number) => number,
  y: (value: number) => number,
): string {
  const both = lowest.map((low, column) => (low === null || highest[column] == null ? null : low))
  return runsOf(both)
    .map(({ first, last }) => {
      let path = ''
      for (let column = first; column <= last; column++) {
        path += `${column === first ? 'M' : 'L'}${px(x(column))} ${px(y(highest[column] as number))}`
      }
      for (let column = last; column >= first; column--) path += `L${px(x(column))} ${px(y(lowest[column] as number))}`
      return `${path}Z`
    })
    .join('')
}

/** Highest value of a stretch of columns, or null. */
export function highestOf(curve: DrawnCurve, firstColumn: number, lastColumn: number): number | null {
  return curve.high
    .slice(firstColumn, lastColumn + 1)
    .reduce<number | null>((most, value) => (value === null ? most : Math.max(most ?? value, value)), null)
}

function runsOf(values: Values): readonly { readonly first: number; readonly last: number }[] {
  const runs: { first: number; last: number }[] = []
  values.forEach((value, column) => {
    const last = runs.at(-1)
    if (value === null) return
    if (last !== undefined && last.last === column - 1) last.last = column
    else runs.push({ first: column, last: column })
  })
  return runs
}

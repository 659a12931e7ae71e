import { printFigure } from '../../domain/index.ts'

/** A margin with its sign, since minus means outside. */
export function signed(value: number, decimals = 1): string {
  return `${value > 0 ? '+' : ''}${printFigure(value, decimals)}`
}

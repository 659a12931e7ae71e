import { expect, test } from 'vitest'
import { printedValue, printFigure, printTime } from './figures.ts'

test.each([
  [-24, 1, '\u221224.0'],
  [-0.04, 1, '0.0'],
  [0.05, 1, '0.1'],
  [-21.96, 1, '\u221222.0'],
  [1.126, 2, '1.13'],
  [null, 1, 'not measured'],
])('%s with %s decimals is printed %s', (value, decimals, text) => {
  expect(printFigure(value, decimals)).toBe(text)
})

test('what is printed is what is judged', () => {
  for (const value of [-21.96, -21.94, -2.04, -1.96, 0.04, 19.95]) {
    expect(printFigure(value)).toBe(printFigure(printedValue(value)))
  }
})

test.each([
  [0, 0, '0:00:00'],
  [3599.6, 0, '1:00:00'],
  [62.0449, 3, '0:01:02.045'],
  [36000, 0, '10:00:00'],
  [7.2, 1, '0:00:07.2'],
])('%s s with %s decimals is %s', (seconds, decimals, text) => {
  expect(printTime(seconds, decimals)).toBe(text)
})

import { expect, test } from 'vitest'
import type { Parameter } from './parameters.ts'
import { UPMIX_PARAMETERS } from './upmix-parameters.ts'
import { findUpmixStart, UPMIX_STARTS } from './upmix-starts.ts'

test('starting settings have names for a sheet, a reason in a sentence, and values that the settings take', () => {
  expect(UPMIX_STARTS.map(({ id }) => id)).toEqual([
    'drama-dialogue',
    'live-music',
    'documentary',
    'mono-source',
    'archive-lt-rt',
  ])
  for (const { id, reason, settings } of UPMIX_STARTS) {
    expect(id).toMatch(/^[a-z]+(-[a-z]+)*$/)
    expect(reason).toMatch(/^[A-Z].{60,}[.]$/)
    expect(Object.keys(settings).length).toBeGreaterThan(2)
    for (const [name, value] of Object.entries(settings)) {
      const row: Parameter = UPMIX_PARAMETERS[name as keyof typeof UPMIX_PARAMETERS]
      if (row.kind === 'choice') expect(row.choices).toContain(value)
      else expect(Number(value) >= row.min && Number(value) <= row.max).toBe(true)
    }
  }
})

test('they are found by their names', () => {
  expect(findUpmixStart('live-music')?.title).toBe('Live music')
  expect(findUpmixStart('live')).toBeNull()
})

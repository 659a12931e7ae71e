import { expect, test } from 'vitest'
import { nearestName } from './nearest-name.ts'

const NAMES = ['centreShare', 'centreReach', 'surroundDelayMs', 'ebu-r128', 'ebu-r128-s1']

test.each([
  ['centerShare', 'centreShare'],
  ['surroundDelay', 'surroundDelayMs'],
  ['EBU-R128', 'ebu-r128'],
  ['ebu-r128s1', 'ebu-r128-s1'],
])('%s means %s', (typed, meant) => {
  expect(nearestName(typed, NAMES)).toBe(meant)
})

test('a name that is near to none has no suggestion', () => {
  expect(nearestName('xyzzy', NAMES)).toBeNull()
  expect(nearestName('anything', [])).toBeNull()
})

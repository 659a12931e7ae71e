import { realpathSync, statSync } from 'node:fs'
import { basename, dirname, join, resolve } from 'node:path'

/** Whether two paths lead to one file, also by links and by folders that are linked; neither has to exist. */
export function isSameFile(one: string, other: string): boolean {
  const [a, b] = [one, other].map((path) => statSync(path, { bigint: true, throwIfNoEntry: false }))
  if (a !== undefined && b !== undefined) return a.dev === b.dev && a.ino === b.ino
  return placeOf(one) === placeOf(other)
}

function placeOf(path: string): string {
  try {
    return join(realpathSync(dirname(path)), basename(path))
  } catch {
    return resolve(path)
  }
}

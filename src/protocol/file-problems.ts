import type { z } from 'zod'
import { type FileProblem, nearestName } from '../domain/index.ts'

export type Issue = z.core.$ZodIssue

/** What one kind of file knows of its own names and words. */
export type FileWords = {
  /** Every name that may stand at a place; empty where it holds no names. */
  readonly namesAt: (path: readonly PropertyKey[]) => readonly string[]
  /** What is needed at a place in words of its own; null: the usual ones. */
  readonly needed?: (issue: Issue, found: unknown) => string | null
}

/** Turns what a schema complains of into sentences for the person who wrote the file. */
export function describeIssues(issues: readonly Issue[], file: unknown, words: FileWords): readonly FileProblem[] {
  return issues.flatMap((issue) => describeIssue(issue, file, words))
}

function describeIssue(issue: Issue, file: unknown, words: FileWords): readonly FileProblem[] {
  if (issue.code === 'unrecognized_keys') return issue.keys.map((key) => unknownName(issue.path, key, words))
  if (issue.code === 'invalid_union') return describeUnion(issue, file, words)
  const found = valueAt(file, issue.path)
  const needed = words.needed?.(issue, found) ?? neededInWords(issue, found)
  const nearest =
    issue.code === 'invalid_value' && typeof found === 'string' ? nearestName(found, issue.values.map(String)) : null
  return [{ path: issue.path.join('.'), found: quote(found), needed, nearest }]
}

/** Of a number or its detailed form: speaks of the form that the user began to write. */
function describeUnion(
  issue: Extract<Issue, { code: 'invalid_union' }>,
  file: unknown,
  words: FileWords,
): readonly FileProblem[] {
  const found = valueAt(file, issue.path)
  const meant = issue.errors[typeof found === 'object' && found !== null ? 1 : 0] ?? []
  return meant.flatMap((inner) => describeIssue({ ...inner, path: [...issue.path, ...inner.path] }, file, words))
}

function unknownName(path: readonly PropertyKey[], key: string, words: FileWords): FileProblem {
  const valid = words.namesAt(path)
  return {
    path: [...path, key].join('.'),
    found: 'an unknown name',
    needed: `one of ${valid.join(', ')}`,
    nearest: nearestName(key, valid),
  }
}

function neededInWords(issue: Issue, found: unknown): string {
  switch (issue.code) {
    case 'invalid_type':
      return found === undefined ? `${kind(issue.expected)}; it is missing` : kind(issue.expected)
    case 'too_big':
      return `at most ${issue.maximum}`
    case 'too_small':
      if (issue.origin === 'number') return issue.inclusive ? `at least ${issue.minimum}` : `more than ${issue.minimum}`
      return issue.origin === 'array' ? 'at least one entry' : 'a text that is not empty'
    case 'invalid_value':
      return `one of ${issue.values.map(String).join(', ')}`
    default:
      return issue.message
  }
}

function kind(expected: string): string {
  const article = /^[aeio]/.test(expected) ? 'an' : 'a'
  return expected === 'array' ? 'a list' : expected === 'string' ? 'a text' : `${article} ${expected}`
}

function valueAt(file: unknown, path: readonly PropertyKey[]): unknown {
  return path.reduce<unknown>(
    (value, name) =>
      typeof value === 'object' && value !== null ? (value as Record<PropertyKey, unknown>)[name] : undefined,
    file,
  )
}

function quote(value: unknown): string {
  if (value === undefined) return 'nothing'
  const text = JSON.stringify(value) ?? String(value)
  return text.length > 60 ? `${text.slice(0, 57)}...` : text
}

import type { EachFile } from '../jobs/index.ts'
import { printRefusal, refusalJson } from './outcome.ts'

type Refused = EachFile<unknown>['refused'][number]

/** The refusal of a file that was named alone is the answer of the command; among several it stands beside theirs. */
export function orRefusal<File>(result: EachFile<File>, paths: readonly string[]): EachFile<File> {
  const [only] = result.refused
  if (only !== undefined && paths.length === 1) throw only.refusal
  return result
}

/** A file that could not be read, beside others that could. */
export function printRefused({ path, refusal }: Refused): string {
  return `${path}\n${printRefusal(refusal)}`
}

export function refusedJson({ path, refusal }: Refused): object {
  return { path, refusal: refusalJson(refusal) }
}

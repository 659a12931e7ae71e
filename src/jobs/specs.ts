import { existsSync, readFileSync } from 'node:fs'
import { type DeliverySpec, nearestName } from '../domain/index.ts'
import { findSpec, SPECS } from '../specs/index.ts'
import { refuse } from './refusals.ts'
import { listProblems, readJson } from './sheet.ts'

/** The spec that a name or the path of a spec file means. */
export async function loadSpec(nameOrPath: string): Promise<DeliverySpec> {
  const known = findSpec(nameOrPath)
  if (known !== null) return known
  if (existsSync(nameOrPath)) return readSpec(nameOrPath)
  const nearest = nearestName(
    nameOrPath,
    SPECS.map((spec) => spec.id),
  )
  throw refuse(
    'JOBS_SPEC_UNKNOWN',
    `use the spec "${nameOrPath}"`,
    'neither a spec of that name nor a file',
    nearest === null ? {} : { remedy: `Did you mean "${nearest}"? "plimsoll specs" prints the list.` },
  )
}

/** The text of a spec file that can be copied and changed. */
export function exampleSpecFile(): string {
  return readFileSync(new URL('../../docs/examples/north-coast-spec.json', import.meta.url), 'utf8')
}

async function readSpec(path: string): Promise<DeliverySpec> {
  // Loaded only here: presets need no schema library.
  const { readSpecFile } = await import('../protocol/index.ts')
  const reading = readSpecFile(parseJson(path))
  if (reading.problems === null) return reading.spec
  throw refuse('JOBS_SPEC_INVALID', `use the spec file "${path}"`, listProblems(reading.problems))
}

function parseJson(path: string): unknown {
  return readJson(path, (found, cause) => refuse('JOBS_SPEC_INVALID', `use the spec file "${path}"`, found, { cause }))
}

// An older delivery and the newer one that replaces it: whatever happens, a folder holds one of the two, whole.
import { cpSync, existsSync, mkdtempSync, readdirSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, onTestFinished } from 'vitest'
import { deliverySums, plimsollMust } from './cli.ts'
import { mixMaster } from './cli-programmes.ts'

const OLD_SPEC = 'ebu-r128'
const NEW_SPEC = 'atsc-a85-short'
/** What the new one has beside its mixes. */
const BESIDE = ['--write-difference', '--picture']

type Sums = Readonly<Record<string, string>>

/** Both deliveries of one master, made undisturbed; folders with the old one are copied from the first. */
export type Replacement = {
  readonly master: string
  readonly oldFolder: string
  readonly newFolder: string
  readonly old: Sums
  readonly new: Sums
  /** How long the new one takes here, undisturbed. */
  readonly runMs: number
}

export async function makeReplacement(folder: string): Promise<Replacement> {
  const master = mixMaster(join(folder, 'master.wav'), { seconds: 6 })
  const oldFolder = join(folder, 'old')
  const newFolder = join(folder, 'new')
  // Each has a file that the other has not: a commit takes the one away and brings the others.
  await plimsollMust(['deliver', master, '--spec', OLD_SPEC, '--out', oldFolder, '--gain-curve'], 0)
  const startedMs = performance.now()
  await plimsollMust(['deliver', master, '--spec', NEW_SPEC, '--out', newFolder, ...BESIDE], 0)
  const runMs = performance.now() - startedMs
  return { master, oldFolder, newFolder, old: deliverySums(oldFolder), new: deliverySums(newFolder), runMs }
}

/** A folder of its own for one try, with the old delivery in it. */
export function withOldDelivery({ oldFolder }: Replacement): string {
  const out = join(mkdtempSync(join(tmpdir(), 'plimsoll-test-')), 'out')
  onTestFinished(() => rmSync(join(out, '..'), { recursive: true, force: true }))
  cpSync(oldFolder, out, { recursive: true, preserveTimestamps: true })
  return out
}

/** The command that replaces the old delivery by the new one. */
export function replaceWords({ master }: Replacement, out: string): readonly string[] {
  return ['deliver', master, '--spec', NEW_SPEC, '--out', out, ...BESIDE, '--replace']
}

/** After the next start the folder holds exactly the old or exactly the new delivery and nothing else. Tells which. */
export async function settle(made: Replacement, out: string): Promise<'old' | 'new'> {
  const isDecided = existsSync(join(out, '.plimsoll-commit.json')) || !existsSync(join(out, 'master_gain.wav'))
  await plimsollMust(['verify', out, '--spec', isDecided ? NEW_SPEC : OLD_SPEC], 0)
  expect(deliverySums(out)).toEqual(isDecided ? made.new : made.old)
  expect(readdirSync(out).filter((name) => name.startsWith('.') || name.endsWith('.part'))).toEqual([])
  return isDecided ? 'new' : 'old'
}

import { gainToDb } from '../../../domain/index.ts'

/**
 * Levels are kept as bytes in steps of half a dB, so that the evidence of two hours stays below a megabyte.
 * 0 is digital silence.
 */
const LOWEST_DBFS = -120
const STEPS_PER_DB = 2

export function levelCode(peak: number): number {
  if (!(peak > 0)) return 0
  return Math.max(0, Math.min(255, Math.round(STEPS_PER_DB * (gainToDb(peak) - LOWEST_DBFS))))
}

export function levelDbfs(code: number): number {
  return code / STEPS_PER_DB + LOWEST_DBFS
}

export function codeOf(dbfs: number): number {
  return STEPS_PER_DB * (dbfs - LOWEST_DBFS)
}

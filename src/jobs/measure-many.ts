import { availableParallelism } from 'node:os'
import { Refusal } from '../domain/index.ts'
import type { Progress } from '../engine/index.ts'
import { type MeasuredFile, type MeasureOptions, measureFile } from './measure.ts'

export type MeasuredFiles = {
  readonly files: readonly MeasuredFile[]
  /** Files that could not be read; they cost the others nothing. */
  readonly refused: readonly { readonly path: string; readonly refusal: Refusal }[]
}

/**
 * Measures several files. Where there are more of them than workers, each worker takes whole files; else all workers
 * share one file after the other. The figures are the same either way.
 */
export async function measureFiles(
  paths: readonly string[],
  options: MeasureOptions,
  progress?: (progress: Progress) => void,
): Promise<MeasuredFiles> {
  const workers = options.workers ?? availableParallelism()
  const isFileEach = paths.length > workers && workers > 1
  const shares = new Float64Array(paths.length)
  const tell = (index: number) => (told: Progress) => {
    shares[index] = told.share
    progress?.({ ...told, share: shares.reduce((sum, share) => sum + share) / paths.length })
  }
  const results: (MeasuredFile | Refusal)[] = new Array(paths.length)
  let next = 0
  const work = async (): Promise<void> => {
    for (let index = next++; index < paths.length; index = next++) {
      const alone = isFileEach ? { ...options, workers: 1, aside: true } : options
      results[index] = await measureFile(paths[index] as string, alone, tell(index)).catch((error: unknown) => {
        // One of many that cannot be read must not cost the figures of the others.
        if (error instanceof Refusal) return error
        throw error
      })
    }
  }
  const hands = await Promise.allSettled(Array.from({ length: isFileEach ? workers : 1 }, work))
  for (const hand of hands) if (hand.status === 'rejected') throw hand.reason
  const pairs = paths.map((path, index) => ({ path, result: results[index] as MeasuredFile | Refusal }))
  return {
    files: pairs.flatMap(({ result }) => (result instanceof Refusal ? [] : [result])),
    refused: pairs.flatMap(({ path, result }) => (result instanceof Refusal ? [{ path, refusal: result }] : [])),
  }
}

import { availableParallelism } from 'node:os'
import type { Progress } from '../engine/index.ts'
import { type EachFile, eachFile } from './each-file.ts'
import { type MeasuredFile, type MeasureOptions, measureFile } from './measure.ts'

/**
 * Measures several files. Where there are more of them than workers, each worker takes whole files; else all workers
 * share one file after the other. The figures are the same either way.
 */
export function measureFiles(
  paths: readonly string[],
  options: MeasureOptions,
  progress?: (progress: Progress) => void,
): Promise<EachFile<MeasuredFile>> {
  const workers = options.workers ?? availableParallelism()
  const isFileEach = paths.length > workers && workers > 1
  const own = isFileEach ? { ...options, workers: 1, aside: true } : options
  const hands = isFileEach ? workers : 1
  return eachFile(paths, (path, told) => measureFile(path, own, told), { hands, progress })
}

import { Refusal } from '../domain/index.ts'
import type { Progress } from '../engine/index.ts'

/** What became of several files. */
export type EachFile<File> = {
  /** In the order in which they were named. */
  readonly files: readonly File[]
  /** Files that could not be read; they cost the others nothing. */
  readonly refused: readonly { readonly path: string; readonly refusal: Refusal }[]
}

/**
 * Does one job with each of several files, with `hands` files under way at once. A refusal of one costs the others
 * nothing; any other error ends the work when the files under way are done.
 */
export async function eachFile<File>(
  paths: readonly string[],
  job: (path: string, told: (progress: Progress) => void) => Promise<File>,
  { hands = 1, progress }: { readonly hands?: number; readonly progress?: ((progress: Progress) => void) | undefined },
): Promise<EachFile<File>> {
  const shares = new Float64Array(paths.length)
  const tell = (index: number) => (told: Progress) => {
    shares[index] = told.share
    progress?.({ ...told, share: shares.reduce((sum, share) => sum + share) / paths.length })
  }
  const results: ({ readonly file: File } | Refusal)[] = new Array(paths.length)
  let next = 0
  const work = async (): Promise<void> => {
    for (let index = next++; index < paths.length; index = next++) {
      results[index] = await job(paths[index] as string, tell(index)).then(
        (file) => ({ file }),
        (error: unknown) => {
          if (error instanceof Refusal) return error
          throw error
        },
      )
    }
  }
  const done = await Promise.allSettled(Array.from({ length: hands }, work))
  for (const hand of done) if (hand.status === 'rejected') throw hand.reason
  return {
    files: results.flatMap((result) => (result instanceof Refusal ? [] : [result.file])),
    refused: paths.flatMap((path, index) => {
      const refusal = results[index]
      return refusal instanceof Refusal ? [{ path, refusal }] : []
    }),
  }
}

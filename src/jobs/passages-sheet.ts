import { instantOnHop, type Passage } from '../domain/index.ts'
import type { ChannelOptions } from '../media/index.ts'
import { sheetJson } from '../protocol/index.ts'
import { freshSheet, pathBeside, sheetClock } from './fresh-sheet.ts'
import { besideSheet } from './sheet.ts'
import type { Title } from './title.ts'

/** Ride points stand 100 ms apart, so no glide is shorter. */
const GLIDE_MS = 100

/** Passages whose trim is suggested, the larger effect first; a trim on a place that another has taken is left out. */
export function trimmable(passages: readonly Passage[]): readonly Passage[] {
  const kept: Passage[] = []
  for (const passage of passages.toSorted((a, b) => a.rank - b.rank)) {
    const overlaps = kept.some((one) => one.startFrame < passage.endFrame && passage.startFrame < one.endFrame)
    if (passage.suggestedTrimDb !== null && !overlaps) kept.push(passage)
  }
  return kept.toSorted((a, b) => a.startFrame - b.startFrame)
}

/**
 * The text of a sheet that has the suggested trims in it, ready to be edited and delivered: a new one for a file, or the
 * title's own with the trims that do not lie on its own added.
 */
export async function passagesSheet(
  { source, sheet: own, placed, sheetPath: ownPath }: Title,
  passages: readonly Passage[],
  options: ChannelOptions & {
    readonly sheetPath: string
    readonly specName?: string | undefined
    readonly signal?: AbortSignal | undefined
  },
): Promise<string> {
  const { clock, format } = source
  const { sheetPath } = options
  const ruler = clock !== null && own?.timecode !== null ? sheetClock(source) : null
  const instant = (frame: number) => instantOnHop(ruler, frame, format.sampleRateHz)
  // A trim or a lock that the mixer has put there stands.
  const isFree = (passage: Passage) =>
    ![...placed.gains, ...placed.locks].some(
      (taken) => taken.startFrame < passage.endFrame && passage.startFrame < taken.endFrame,
    )
  const trims = trimmable(passages.filter(isFree)).map(({ startFrame, endFrame, suggestedTrimDb, message }) => ({
    from: instant(startFrame),
    to: instant(endFrame),
    gainDb: suggestedTrimDb as number,
    glideMs: GLIDE_MS,
    reason: message,
  }))
  if (own !== null && ownPath !== null) {
    const beside = pathBeside(sheetPath)
    const moved = (target: string) => beside(besideSheet(ownPath, target))
    return sheetJson({
      ...own,
      sources: own.sources.map((file) => ({ ...file, path: moved(file.path) })),
      spec: own.spec === null || own.spec.path === null ? own.spec : { ...own.spec, path: moved(own.spec.path) },
      fit: { ...own.fit, trims: [...own.fit.trims, ...trims] },
    })
  }
  const fresh = await freshSheet({ source, sheet: own }, sheetPath, options)
  return sheetJson({ ...fresh, fit: { ...fresh.fit, trims } })
}

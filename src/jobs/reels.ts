import { mkdirSync } from 'node:fs'
import { basename, join } from 'node:path'
import type { Cancellation, FrameRange, LayoutName, PcmFormat } from '../domain/index.ts'
import type { ChannelOptions, PcmLocation } from '../media/index.ts'
import type { TimecodeOptions } from './clock.ts'
import { refuse } from './refusals.ts'
import { type OpenedSource, openSource } from './source.ts'

/** One reel of a programme: its file, and what the user says of its channels. */
export type ReelOrder = ChannelOptions & { readonly path: string }

/**
 * Opens a programme that lies in one file, or in several that follow each other. Reels that differ in layout, rate or
 * words are refused, and so are damaged ones: nothing would tell where the next one begins.
 */
export async function openProgramme(
  reels: readonly ReelOrder[],
  scratchFolder: () => string,
  options: TimecodeOptions,
  cancellation?: Cancellation,
): Promise<OpenedSource> {
  const [only, ...others] = reels
  if (only !== undefined && others.length === 0) {
    return openSource(only.path, scratchFolder, { ...only, ...options }, cancellation)
  }
  const opened: OpenedSource[] = []
  for (const [index, reel] of reels.entries()) {
    // Reels of different folders may have one name.
    const folder = () => ownFolder(scratchFolder(), `reel-${index + 1}`)
    opened.push(await openSource(reel.path, folder, { ...reel, ...(index === 0 && options) }, cancellation))
  }
  return joinReels(opened as [OpenedSource, ...OpenedSource[]])
}

/** Where each reel of a programme lies in it; one range where there is one file. */
export function reelRanges({ reels, frameCount }: OpenedSource): readonly FrameRange[] {
  if (reels.length === 0) return [{ startFrame: 0, endFrame: frameCount }]
  let startFrame = 0
  return reels.map((reel) => {
    const range = { startFrame, endFrame: startFrame + reel.frameCount }
    startFrame = range.endFrame
    return range
  })
}

function joinReels(reels: readonly [OpenedSource, ...OpenedSource[]]): OpenedSource {
  const [first, ...others] = reels
  for (const reel of others) {
    const found = difference(first, reel)
    if (found !== null) {
      throw refuse('JOBS_REELS_DIFFER', `join "${reel.path}" to "${first.path}"`, found.other, { wanted: found.first })
    }
  }
  const frameCount = reels.reduce((sum, reel) => sum + reel.frameCount, 0)
  const { format, layout } = first
  return {
    ...first,
    path: reels.map(({ path }) => path).join(' + '),
    location: { reels: reels.map(({ location }) => location as PcmLocation), format, layout, frameCount },
    frameCount,
    bitsPerSample: Math.max(...reels.map(({ bitsPerSample }) => bitsPerSample)),
    reels,
    findings: reels.flatMap(({ path, findings }) =>
      findings.map((finding) => ({ ...finding, message: `${basename(path)}: ${finding.message}` })),
    ),
  }
}

type Shape = { readonly layout: LayoutName; readonly format: PcmFormat }

/** In what two reels differ, in words; null where they are alike. */
function difference(first: Shape, other: Shape): { readonly first: string; readonly other: string } | null {
  const words = [
    ({ layout }: Shape) => `the layout ${layout}`,
    ({ format }: Shape) => `${format.sampleRateHz} Hz`,
    ({ format }: Shape) => `samples as ${format.encoding}`,
  ]
  const say = words.find((of) => of(first) !== of(other))
  return say === undefined ? null : { first: `${say(first)}, as in the first reel`, other: say(other) }
}

function ownFolder(parent: string, name: string): string {
  const folder = join(parent, name)
  mkdirSync(folder, { recursive: true })
  return folder
}

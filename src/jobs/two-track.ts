import type { Refusal } from '../domain/index.ts'
import { refuseNonFinite } from './finite.ts'
import { refuse } from './refusals.ts'
import { insteadOfUntold, type OpenedSource, refuseDamage } from './source.ts'

/** Gives a source back that an upmix can start from: whole, finite, of one or two tracks. Refuses any other. */
export async function twoTrack(
  source: OpenedSource,
  { signal }: { readonly signal?: AbortSignal | undefined },
): Promise<OpenedSource> {
  refuseDamage(source)
  if (source.layout === '2.0' || source.layout === 'mono') {
    await refuseNonFinite(source, signal)
    return source
  }
  throw multichannel(source.path, `a ${source.layout} file`)
}

/** What the channels of a multichannel file are is of no use here: it is refused for having them. */
export function refuseUntoldChannels(path: string): (error: unknown) => never {
  return insteadOfUntold((found) => multichannel(path, found))
}

function multichannel(path: string, found: string): Refusal {
  return refuse('JOBS_SOURCE_LAYOUT', `upmix "${path}"`, found, {
    wanted: 'a two-track or a mono file',
    remedy: 'Use "plimsoll fit" or "plimsoll deliver" for a mix that is multichannel already.',
  })
}

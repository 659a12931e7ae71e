import { refuseNonFinite } from './finite.ts'
import { refuse } from './refusals.ts'
import { type OpenedSource, refuseDamage } from './source.ts'

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
  throw refuse('JOBS_SOURCE_LAYOUT', `upmix "${source.path}"`, `a ${source.layout} file`, {
    wanted: 'a two-track or a mono file',
    remedy: 'Use "plimsoll fit" or "plimsoll deliver" for a mix that is multichannel already.',
  })
}

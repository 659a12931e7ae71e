import { basename } from 'node:path'
import { type LayoutName, type Measurements, printFigure } from '../domain/index.ts'
import { type FoldOrder, foldProgramme, type Progress, seedOf } from '../engine/index.ts'
import type { ChannelOptions } from '../media/index.ts'
import { refuseNonFinite } from './finite.ts'
import { refuse } from './refusals.ts'
import { ScratchFolder } from './scratch.ts'
import { SingleOutput } from './single-output.ts'
import { type OpenedSource, openSource, orderedSource, programmeOf, refuseDamage } from './source.ts'
import { WavOutputs } from './wav-outputs.ts'
import { type JobOptions, withCrew } from './with-crew.ts'

export type FoldOptions = JobOptions &
  ChannelOptions & {
    readonly to: FoldOrder['to']
    readonly gainDb: number
    readonly encoding: FoldOrder['encoding']
    readonly replaces: boolean
  }

/** Folds a programme down to Lo/Ro, Lt/Rt or mono. Nothing clips: what would pass full scale is refused. */
export async function foldFile(
  path: string,
  outPath: string,
  options: FoldOptions,
  progress?: (progress: Progress) => void,
): Promise<{ readonly path: string; readonly measurements: Measurements }> {
  using scratch = new ScratchFolder()
  using output = new SingleOutput(outPath, { replaces: options.replaces, sources: [path] })
  const { to, gainDb, encoding, signal } = options
  const source = await openSource(path, () => scratch.path, options, signal)
  refuseDamage(source)
  refuseLayout(source, to)
  await refuseNonFinite(source, signal)
  const ditherSeed = seedOf(await orderedSource(source, signal).sha256)
  const layout: LayoutName = to === 'mono' ? 'mono' : '2.0'
  const file = { audio: 'multichannel', role: null, layout, encoding, name: basename(outPath) } as const
  return await withCrew(source, options, async (crew) => {
    const outputs = new WavOutputs([file], source, {
      partPath: () => output.partPath,
      move: (places) => crew.move({ source: source.location, ...places }),
      cancellation: signal,
    })
    const { measurements, overs, peakDbfs } = await foldProgramme(
      programmeOf(source),
      { to, gainDb, encoding, ditherSeed },
      crew,
      outputs,
      progress === undefined ? {} : { progress },
    )
    if (overs > 0) throw wouldClip(outPath, peakDbfs, gainDb)
    await outputs.seal([], true)
    output.place()
    return { path: outPath, measurements }
  })
}

function refuseLayout({ path, layout }: OpenedSource, to: FoldOrder['to']): void {
  if (layout === '5.0' || layout === '5.1' || layout === '7.1' || (layout === '2.0' && to === 'mono')) return
  throw refuse('JOBS_SOURCE_LAYOUT', `fold "${path}" down to ${to}`, `a ${layout} file`, {
    wanted: 'a 5.0, 5.1 or 7.1 file, or a two-track file for mono',
    remedy: 'Name a multichannel file, or another fold-down after --to.',
  })
}

/** @param gainDb the gain that was asked for and is in the peak already */
function wouldClip(path: string, peakDbfs: number, gainDb: number): Error {
  const safeDb = Math.floor((gainDb - peakDbfs) * 10) / 10
  return refuse('JOBS_WOULD_CLIP', `write "${path}"`, `a peak of ${printFigure(peakDbfs, 2)} dBFS`, {
    remedy: `Add --gain ${safeDb}, or write floating point with --bits 32f.`,
  })
}

import { dirname, relative, resolve } from 'node:path'
import { type Clock, clockFromLabel, labelAt, type Sheet } from '../domain/index.ts'
import type { ChannelOptions } from '../media/index.ts'
import { findSpec } from '../specs/index.ts'
import type { OpenedSource } from './source.ts'
import { type HashOf, hashOnce, identityOf, type Title } from './title.ts'

/** The clock that a sheet counts by: it names the start by its label, so it begins with a whole picture. */
export function sheetClock({ clock }: OpenedSource): Clock | null {
  return clock === null ? null : clockFromLabel(clock.format, clock.startPicture, clock.sampleRateHz)
}

/** A path as a sheet names it, relative to its own place. */
export function pathBeside(sheetPath: string): (path: string) => string {
  return (path) => relative(dirname(resolve(sheetPath)), resolve(path))
}

/** A sheet that says what a title is, with the hashes of its files, and decides nothing yet. */
export async function freshSheet(
  title: Pick<Title, 'source' | 'sheet'>,
  sheetPath: string,
  options: Pick<ChannelOptions, 'order'> & {
    /** The name of a preset, or the path of a spec file. */
    readonly specName?: string | undefined
    readonly signal?: AbortSignal | undefined
    readonly hashOf?: HashOf | undefined
  },
): Promise<Sheet> {
  const { source } = title
  const { hashOf = hashOnce } = options
  const clock = sheetClock(source)
  const beside = pathBeside(sheetPath)
  const files = source.reels.length === 0 ? [source] : source.reels
  const { id, name } = identityOf(title)
  return {
    title: { id, name, language: null, deliveredOn: null },
    timecode: clock === null ? null : { ...clock.format, start: labelAt(clock, 0) },
    sources: await Promise.all(
      files.map(async ({ path, layout }) => ({
        path: beside(path),
        layout,
        kind: null,
        order: options.order ?? null,
        sha256: await hashOf(path, options.signal),
      })),
    ),
    segments: [],
    spec: options.specName === undefined ? null : namedSpec(options.specName, beside),
    upmix: { start: null, settings: {}, scenes: [] },
    fit: { settings: {}, trims: [], locks: [] },
    waivers: [],
    deliverables: [],
  }
}

function namedSpec(nameOrPath: string, beside: (path: string) => string): NonNullable<Sheet['spec']> {
  const isPreset = findSpec(nameOrPath) !== null
  return { id: isPreset ? nameOrPath : null, path: isPreset ? null : beside(nameOrPath), edition: null, override: {} }
}

import { basename, extname } from 'node:path'
import { nearestName, type Passage } from '../domain/index.ts'
import { copyWithMarkers, type Watch, type WavMarker } from '../media/index.ts'
import {
  asciiLine,
  type ClockedProgramme,
  inTime,
  type MarkedProgramme,
  passageName,
  passagesCsv,
  passagesEdl,
  passagesOtio,
  passagesVtt,
} from '../report/index.ts'
import { refuse } from './refusals.ts'
import { isSameFile } from './same-file.ts'
import { SingleOutput } from './single-output.ts'
import { type OpenedSource, refuseDamage } from './source.ts'

const FORMATS = ['csv', 'edl', 'otio', 'vtt', 'wav'] as const
type Format = (typeof FORMATS)[number]
type Export = { readonly format: Format; readonly output: SingleOutput }

/**
 * The files that passages are exported to, by the ending of their names. Refused before any work: an ending that is no
 * format, a place that is taken, a format that cannot carry this source.
 */
export class PassageExports implements Disposable {
  readonly #exports: Export[] = []

  constructor(paths: readonly string[], options: { readonly replaces: boolean; readonly sources: readonly string[] }) {
    const formats = paths.map(formatOf)
    try {
      for (const [index, path] of paths.entries()) {
        this.#exports.push({ format: formats[index] as Format, output: new SingleOutput(path, options) })
      }
    } catch (error) {
      this[Symbol.dispose]()
      throw error
    }
  }

  /** Refuses what the source does not allow: a list of timecodes without timecode, markers in a file that has none. */
  refuseUnfit(source: OpenedSource): void {
    for (const { format, output } of this.#exports) {
      if (format === 'edl' && source.clock === null) {
        throw refuse('JOBS_TIMECODE_RATE', `write "${output.path}"`, `no timecode in "${source.path}"`, {
          remedy:
            'Add --timecode-rate, for example --timecode-rate 25, and --timecode-start where it is not 00:00:00:00.',
        })
      }
      if (format === 'wav' && source.reels.length > 0) {
        throw refuse(
          'JOBS_EXPORT_NOT_WAV',
          `write "${output.path}"`,
          `${source.reels.length} reels instead of one file`,
        )
      }
      if (format === 'wav' && source.container === 'FLAC') {
        throw refuse('JOBS_EXPORT_NOT_WAV', `write "${output.path}"`, `a FLAC file at "${source.path}"`)
      }
      if (format === 'wav') refuseDamage(source)
    }
  }

  /** How many of them are copies of the source, which take time. */
  get copyCount(): number {
    return this.#exports.filter(({ format }) => format === 'wav').length
  }

  /** Writes all exports, then puts them in place. `progress` is told the share of the copies that is done, 0..1. */
  async write(source: OpenedSource, passages: readonly Passage[], { cancellation, progress }: Watch): Promise<void> {
    let copied = 0
    for (const { format, output } of this.#exports) {
      if (format === 'wav') {
        const done = copied++
        const tell = (share: number) => progress?.((done + share) / this.copyCount)
        await writeMarkedCopy(source, output, passages, { cancellation, progress: tell })
      } else output.writeText(TEXTS[format](markedProgramme(source, passages)))
    }
    for (const { output } of this.#exports) output.place()
  }

  [Symbol.dispose](): void {
    for (const { output } of this.#exports) output[Symbol.dispose]()
  }
}

const TEXTS: Readonly<Record<Exclude<Format, 'wav'>, (programme: MarkedProgramme) => string>> = {
  csv: passagesCsv,
  // `refuseUnfit` has seen the clock.
  edl: (programme) => passagesEdl(programme as ClockedProgramme),
  otio: passagesOtio,
  vtt: passagesVtt,
}

async function writeMarkedCopy(
  source: OpenedSource,
  output: SingleOutput,
  passages: readonly Passage[],
  watch: Watch,
): Promise<void> {
  watch.progress?.(0)
  await copyWithMarkers(source.path, output.partPath, inTime(passages).map(wavMarker), watch)
}

function wavMarker(passage: Passage): WavMarker {
  const { startFrame, endFrame, message } = passage
  return {
    startFrame,
    frameCount: endFrame - startFrame,
    name: asciiLine(passageName(passage)),
    note: asciiLine(message),
  }
}

function markedProgramme(source: OpenedSource, passages: readonly Passage[]): MarkedProgramme {
  const { path, format, frameCount, clock } = source
  const { channelCount, sampleRateHz } = format
  return { fileName: basename(path), channelCount, sampleRateHz, frameCount, clock, passages }
}

function formatOf(path: string): Format {
  const ending = extname(path).slice(1).toLowerCase()
  const format = FORMATS.find((name) => name === ending)
  if (format !== undefined) return format
  const nearest = ending === '' ? null : nearestName(ending, FORMATS)
  const found = ending === '' ? 'a name without an ending' : `the ending ".${ending}"`
  throw refuse('JOBS_EXPORT_FORMAT', `export to "${path}"`, found, {
    remedy: nearest === null ? undefined : `Did you mean ".${nearest}"?`,
  })
}

/** Refuses two outputs at one place. */
export function refuseSamePlace(paths: readonly string[]): void {
  const twice = paths.find((path, index) => paths.slice(0, index).some((earlier) => isSameFile(earlier, path)))
  if (twice === undefined) return
  throw refuse('JOBS_OUTPUT_EXISTS', `write "${twice}" twice`, 'the same file named for two outputs', {
    remedy: 'Name another file for each of them.',
  })
}

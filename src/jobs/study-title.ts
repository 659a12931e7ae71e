import { readFileSync } from 'node:fs'
import {
  type DeliverableRole,
  type DeliverySpec,
  type Finding,
  LAYOUTS,
  type LayoutName,
  type Margin,
  type MeasuredPart,
  type Measurements,
  type Passage,
  type SheetGround,
  type SpeechLane,
  speechWithin,
  spokenWithin,
  type Waveform,
} from '../domain/index.ts'
import {
  type Crew,
  measureProgramme,
  type Progress,
  passagesOfProgramme,
  waveformOfProgramme,
} from '../engine/index.ts'
import type { PartEnergies } from '../protocol/index.ts'
import { freshSheet, sheetClock } from './fresh-sheet.ts'
import { leftOut } from './left-out.ts'
import { NotRemembered, RememberingCrew } from './remembering-crew.ts'
import { type OpenedSource, programmeOf, refuseChanged } from './source.ts'
import { breaksOf, identityOf, nameTitle, openTitle, type TitleOptions } from './title.ts'
import type { TitleMemory } from './title-memory.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

/** All that is known of a title once it was measured: enough to answer every question about its loudness. */
export type StudiedTitle = {
  readonly name: string
  readonly layout: LayoutName
  readonly role: DeliverableRole
  readonly ground: SheetGround
  readonly measurements: Measurements
  readonly spec: DeliverySpec | null
  readonly findings: readonly Finding[]
  readonly margins: readonly Margin[]
  readonly passages: readonly Passage[]
  readonly parts: readonly { readonly startFrame: number; readonly frameCount: number }[]
  readonly energies: readonly PartEnergies[]
  /** Where its samples lie: in its file, or decoded in `scratchFolder`. */
  readonly location: OpenedSource['location']
  /** How it looks over time. */
  readonly waveform: Waveform
  /** The sheet's text: that of the file, or the one that it would begin with. */
  readonly sheetText: string
}

export type StudyOptions = JobOptions &
  TitleOptions & {
    /** Where the sheet of a title that has none will lie. */
    readonly sheetPath: string
    /** What cannot be read at any frame is decoded there, and stays. */
    readonly scratchFolder: () => string
    /** Where what is measured is remembered. */
    readonly memory: TitleMemory
  }

/**
 * Measures a title for the desk: figures, passages, and the energies from which the page answers what a trim would do.
 * Trims of the sheet are left out: the page puts them on.
 */
export async function studyTitle(
  path: string,
  options: StudyOptions,
  progress?: (progress: Progress) => void,
): Promise<StudiedTitle> {
  const { memory, scratchFolder } = options
  const hashing = { ...options, hashOf: memory.hashOf }
  const title = await openTitle(await nameTitle([path]), scratchFolder, hashing)
  const { source, spec, placed, sheet, sheetPath } = title
  const programme = { ...programmeOf(source), programme: title.programme, breaks: breaksOf(placed.segments) }
  const listens = isListening(options)
  const { tellLooking, watch } = sharesOf(progress)
  const { parts, speech, measurements, judgement, passages, waveform } = await remembering(
    source,
    { ...options, listens, aside: true },
    async (crew) => ({
      waveform: await waveformOfProgramme(crew, programme, tellLooking),
      ...(spec === null
        ? { ...(await measureProgramme(crew, programme, null, watch, listens, true)), passages: [] }
        : await passagesOfProgramme(crew, programme, spec, watch, listens)),
    }),
  )
  refuseChanged(source)
  const { sheetJson } = await import('../protocol/index.ts')
  return {
    name: identityOf(title).name,
    layout: source.layout,
    role: source.layout === '5.1' ? 'mix-5.1' : 'mix',
    ground: {
      clock: sheet !== null && sheet.timecode === null ? null : sheetClock(source),
      sampleRateHz: source.format.sampleRateHz,
      frameCount: source.frameCount,
    },
    measurements,
    spec,
    findings: [...source.findings, ...leftOut(placed.segments, source, 'the sheet'), ...judgement.findings],
    margins: judgement.margins,
    passages,
    parts: parts.map(({ startFrame, measured }) => ({ startFrame, frameCount: measured.frameCount })),
    energies: parts.map((part) => energiesOf(part, speech)),
    location: source.location,
    waveform,
    sheetText:
      sheetPath === null
        ? sheetJson(await freshSheet(title, options.sheetPath, hashing))
        : readFileSync(sheetPath, 'utf8'),
  }
}

/** Of the whole time; the rest measures. Only the progress line depends on it. */
const LOOKING_SHARE = 0.1

function sharesOf(progress: ((progress: Progress) => void) | undefined) {
  return {
    tellLooking: (share: number) => progress?.({ stage: 'measure', share: share * LOOKING_SHARE }),
    watch: {
      progress: ({ stage, share }: Progress) =>
        progress?.({ stage, share: LOOKING_SHARE + (1 - LOOKING_SHARE) * share }),
    },
  }
}

/** Does work on a source from what is remembered of it; only where that is not all, a crew is hired. */
async function remembering<T>(
  source: OpenedSource,
  options: StudyOptions & { readonly listens: boolean; readonly aside: boolean },
  work: (crew: Crew) => Promise<T>,
): Promise<T> {
  const files = source.reels.length === 0 ? [source] : source.reels
  const paths = files.map(({ path }) => path)
  // Where the samples lie says how they are read; under which path does not matter.
  const reading = JSON.stringify([source.location, source.layout], (name, value) => (name === 'path' ? '' : value))
  const { known, keep } = await options.memory.results(paths, reading, options.signal)
  try {
    return await work(new RememberingCrew(known, null))
  } catch (error) {
    if (!(error instanceof NotRemembered)) throw error
  }
  return await withCrew(source, options, async (crew) => {
    const done = await work(new RememberingCrew(known, crew))
    refuseChanged(source)
    keep()
    return done
  })
}

function energiesOf(part: MeasuredPart, speech: SpeechLane | null): PartEnergies {
  const { measured } = part
  return {
    powers10ms: measured.programme10ms,
    foldDown10ms: measured.foldDown10ms ?? new Float64Array(0),
    truePeak100ms: highestOfEach(measured.truePeak100ms, LAYOUTS[measured.layout].length),
    foldDownTruePeak100ms: highestOfEach(measured.foldDownTruePeak100ms, 2),
    channels100ms: Float32Array.from(measured.channels100ms),
    isSpeech100ms: speech === null ? new Uint8Array(0) : speechWithin(speech, part),
    isSpoken100ms: speech === null ? new Uint8Array(0) : spokenWithin(speech, part),
  }
}

/** The highest of each row. */
function highestOfEach(rows: Float32Array | null, width: number): Float32Array {
  if (rows === null) return new Float32Array(0)
  return Float32Array.from({ length: rows.length / width }, (_, row) =>
    rows.subarray(row * width, (row + 1) * width).reduce((most, value) => Math.max(most, value), 0),
  )
}

import { createHash } from 'node:crypto'
import { existsSync, mkdtempSync, readFileSync, statSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { bytesPerFrame, type Sheet } from '../domain/index.ts'
import { openAudio } from '../media/index.ts'
import type {
  ListeningPlan,
  PartEnergies,
  SceneSuggestion,
  SheetState,
  ShelfEntry,
  TitleHead,
} from '../protocol/index.ts'
import { adopt, takeIn } from './add-to-shelf.ts'
import { deliver } from './deliver.ts'
import { picturesOf, type TitlePicture } from './pictures.ts'
import { TitlePlanner } from './plan-title.ts'
import { refuse } from './refusals.ts'
import { ScratchFolder } from './scratch.ts'
import { listProblems } from './sheet.ts'
import { type ShelvedTitle, titlesIn } from './shelf-folder.ts'
import { SingleOutput } from './single-output.ts'
import { standingOf } from './standing.ts'
import { type StudiedTitle, studyTitle } from './study-title.ts'
import { suggestUpmixScenes } from './suggest-scenes.ts'
import { type Standing, TitleMemory } from './title-memory.ts'
import { type DrawnTitle, tileBytes } from './waveform-tiles.ts'
import { explain, WorkQueue } from './work-queue.ts'

/** Where samples lie and how they look. */
type Sound = DrawnTitle & { readonly stamp: string }

type Known = {
  /** Changes with the files of the title. */
  readonly stamp: string
  /** All that the page opens a title with; null until that was asked for in this run. */
  readonly studied: StudiedTitle | null
  readonly standing: Standing | null
  readonly refusal: ShelfEntry['refusal']
}

/** The titles of a folder, what is known of them, and the work on them. Files are the truth: all else can be thrown away. */
export class Shelf {
  readonly folder: string
  readonly work = new WorkQueue()
  readonly #known = new Map<string, Known>()
  /** Where samples lie, and the state of the files that they were found in; heard while a title is measured again. */
  readonly #sounds = new Map<string, Sound>()
  readonly #planners = new Map<string, TitlePlanner>()
  /** For as long as the shelf is open: what had to be decoded to be read at any frame. */
  readonly #scratch = new ScratchFolder()
  readonly #workers: number | undefined

  constructor(folder: string, workers?: number) {
    this.folder = resolve(folder)
    this.#workers = workers
  }

  titles(): readonly ShelfEntry[] {
    return titlesIn(this.folder).map((title) => this.#entryOf(title))
  }

  /** Takes a file in under its name, as its bytes come. */
  takeIn(name: string, bytes: Parameters<typeof takeIn>[2], byteCount: number | null): Promise<void> {
    return takeIn(this.folder, name, bytes, byteCount)
  }

  /** Puts what lies elsewhere on this machine on the shelf; gives how many titles that are. */
  adopt(path: string): Promise<number> {
    return adopt(this.folder, path)
  }

  /** Measures a title in its turn, unless it is known as it lies there. */
  measure(titleId: string): Promise<void> {
    const title = this.#title(titleId)
    const stamp = stampOf(title.files)
    const known = this.#known.get(title.id)
    if (known?.stamp === stamp && known.studied !== null) return Promise.resolve()
    return this.work.add({
      titleId,
      kind: 'measure',
      run: async ({ signal, progress }) => {
        try {
          const memory = new TitleMemory(title)
          const { sheetPath } = title
          const scratchFolder = () => freshFolder(this.#scratch.path)
          const options = { signal, workers: this.#workers, sheetPath, scratchFolder, memory }
          const studied = await studyTitle(title.path, options, progress)
          this.#know(title, { stamp, studied, standing: standingOf(studied), refusal: null }, memory)
          const { location, waveform } = studied
          this.#sounds.set(title.id, { stamp: soundStampOf(title), location, waveform })
        } catch (error) {
          if (!signal.aborted) this.#know(title, { stamp, studied: null, standing: null, refusal: explain(error) })
          throw error
        }
        return null
      },
    })
  }

  /** A title that was measured; null where that is still to be done. */
  opened(titleId: string): { readonly head: TitleHead; readonly energies: readonly PartEnergies[] } | null {
    const title = this.#title(titleId)
    const known = this.#known.get(title.id)
    if (known === undefined || known.stamp !== stampOf(title.files)) return null
    const { studied } = known
    if (studied === null) return null
    const { sheetText, energies, margins: _, waveform: __, location, ...told } = studied
    const sound = { encoding: location.format.encoding, channelCount: location.format.channelCount }
    const { path, sheetPath } = title
    const pictures = picturesOf(title).map(({ path: _path, ...one }) => one)
    return {
      head: {
        version: 1,
        id: titleId,
        path,
        sheetPath,
        sheetText,
        sheetTag: tagOf(sheetText),
        sound,
        pictures,
        ...told,
      },
      energies,
    }
  }

  /**
   * Decides what a delivery by this sheet would begin with, so that it can be heard; null if it was stopped. A plan that
   * is still being made for the title is given up: the page has gone on.
   */
  async plan(titleId: string, text: string): Promise<ListeningPlan | null> {
    const title = this.#title(titleId)
    const { sheetPath } = title
    const sheet = await readSheetText(sheetPath, text)
    this.work.stop({ titleId, kind: 'plan' })
    await this.work.over({ titleId, kind: 'plan' })
    let plan: ListeningPlan | null = null
    let failure: unknown = null
    await this.work.add({
      titleId,
      kind: 'plan',
      run: async ({ signal, progress }) => {
        try {
          const options = { signal, workers: this.#workers, sheet, sheetPath }
          plan = await (await this.#plannerOf(title.id)).plan(options, progress)
        } catch (error) {
          if (!signal.aborted) failure = error
          throw error
        }
        return null
      },
    })
    if (failure !== null) throw failure
    return plan
  }

  /** Only one title's hands are kept waiting. */
  async #plannerOf(id: string): Promise<TitlePlanner> {
    const known = this.#planners.get(id) ?? new TitlePlanner()
    this.#planners.set(id, known)
    for (const other of this.#planners.values()) if (other !== known) await other.letGo()
    return known
  }

  /** Lets go of everything that lies in scratch. */
  async close(): Promise<void> {
    for (const planner of this.#planners.values()) await planner.close()
    this.#scratch[Symbol.dispose]()
  }

  /**
   * Samples of a title that was measured, as they lie in its file, or of the master that its plan starts from; what lies
   * outside of it is left out.
   */
  sound(titleId: string, firstFrame: number, count: number, of: 'source' | 'master'): Uint8Array<ArrayBuffer> {
    const title = this.#title(titleId)
    const known = this.#sounds.get(title.id)
    const source = known?.stamp === soundStampOf(title) ? known.location : undefined
    const location = of === 'source' ? source : this.#planners.get(title.id)?.location
    if (location == null) {
      const found = of === 'source' ? 'a title that is not measured' : 'a title without a plan'
      throw refuse('JOBS_TITLE_UNKNOWN', `listen to "${titleId}"`, found)
    }
    const first = Math.min(Math.max(0, firstFrame), location.frameCount)
    const frames = Math.min(Math.max(0, count), location.frameCount - first)
    const bytes = new Uint8Array(frames * bytesPerFrame(location.format))
    const audio = openAudio(location)
    try {
      audio.readInto(bytes, first, frames)
    } finally {
      audio.close()
    }
    return bytes
  }

  /** How a title that was measured looks over time: a tile of one level, 16 bits little-endian. */
  waveform(titleId: string, level: number, tile: number): Uint8Array<ArrayBuffer> {
    const title = this.#title(titleId)
    const known = this.#sounds.get(title.id)
    if (known?.stamp === soundStampOf(title)) return tileBytes(known, level, tile)
    throw refuse('JOBS_TITLE_UNKNOWN', `draw "${titleId}"`, 'a title that is not measured')
  }

  /** The files with the picture of a title, as they lie there now. */
  pictures(titleId: string): readonly TitlePicture[] {
    return picturesOf(this.#title(titleId))
  }

  /** The sheet of a title as it lies on disk now; null where there is none. */
  sheet(titleId: string): SheetState | null {
    const { id, sheetPath } = this.#title(titleId)
    if (!existsSync(sheetPath)) return null
    const text = readFileSync(sheetPath, 'utf8')
    return { id, text, tag: tagOf(text) }
  }

  /**
   * Saves the sheet of a title; gives the title's id from now on and the tag of what was written. Refuses a text that is
   * no sheet, and one that was made from another state than the one on disk.
   */
  async saveSheet(titleId: string, text: string, tag: string): Promise<{ readonly id: string; readonly tag: string }> {
    const title = this.#title(titleId)
    const { sheetPath } = title
    await readSheetText(sheetPath, text)
    if (existsSync(sheetPath) && tagOf(readFileSync(sheetPath, 'utf8')) !== tag) {
      throw refuse('JOBS_SHEET_CHANGED', `save the sheet "${sheetPath}"`, 'a sheet that was changed by somebody else')
    }
    using output = new SingleOutput(sheetPath, { replaces: true, sources: title.isSheet ? [] : [title.path] })
    output.writeText(text)
    output.place()
    const saved = titlesIn(this.folder).find((one) => resolve(one.path) === resolve(sheetPath)) as ShelvedTitle
    const known = this.#known.get(title.id)
    if (known?.studied != null && isSameMeasurement(known.studied.sheetText, text)) {
      this.#known.delete(title.id)
      this.#know(saved, { ...known, stamp: stampOf(saved.files), studied: { ...known.studied, sheetText: text } })
    }
    renamed(this.#planners, title.id, saved.id)
    renamed(this.#sounds, title.id, saved.id)
    return { id: saved.id, tag: tagOf(text) }
  }

  /** Delivers a title in its turn into a folder of its own in the shelf's. */
  deliver(titleId: string, keepsNonconforming: boolean): Promise<void> {
    const title = this.#title(titleId)
    return this.work.add({
      titleId: title.id,
      kind: 'deliver',
      run: async ({ signal, progress }) => {
        const { report, isDelivered } = await deliver(
          title.path,
          {
            out: this.deliveryFolder(title.id),
            bitsPerSample: 24,
            replaces: true,
            writesGain: false,
            writesDifference: false,
            drawsPicture: false,
            keepsNonconforming,
            signal,
            workers: this.#workers,
          },
          progress,
        )
        return { conforms: report.conforms, isDelivered, verdict: report.verdict }
      },
    })
  }

  /** Looks for scenes of the upmix in its turn; null where that was stopped or refused. */
  async suggestScenes(titleId: string): Promise<SceneSuggestion | null> {
    const title = this.#title(titleId)
    let found: SceneSuggestion | null = null
    await this.work.add({
      titleId,
      kind: 'scenes',
      run: async ({ signal, progress }) => {
        const options = { signal, workers: this.#workers, replaces: false }
        found = (await suggestUpmixScenes(title.path, options, progress)).written
        return null
      },
    })
    return found
  }

  /** Where the delivery of a title lies or will lie. */
  deliveryFolder(titleId: string): string {
    return join(this.folder, 'deliveries', this.#title(titleId).titleId)
  }

  #title(titleId: string): ShelvedTitle {
    const titles = titlesIn(this.folder)
    // A file that was given a sheet meanwhile is that sheet's title.
    const title =
      titles.find(({ id }) => id === titleId) ??
      titles.find(({ files }) => files.includes(resolve(this.folder, titleId)))
    if (title === undefined) throw refuse('JOBS_TITLE_UNKNOWN', `find "${titleId}"`, 'no such title on the shelf')
    return title
  }

  /** What is known of a title as it lies there: from this run, else from one before. */
  #knownOf(title: ShelvedTitle): Known {
    const stamp = stampOf(title.files)
    const known = this.#known.get(title.id)
    if (known?.stamp === stamp) return known
    const standing = new TitleMemory(title).standing(stamp)
    const remembered = { stamp, studied: null, standing, refusal: null }
    this.#known.set(title.id, remembered)
    return remembered
  }

  #know(title: ShelvedTitle, known: Known, memory = new TitleMemory(title)): void {
    this.#known.set(title.id, known)
    if (known.standing !== null) memory.keepStanding(known.stamp, known.standing)
  }

  #entryOf(title: ShelvedTitle): ShelfEntry {
    const { id, name, path, isSheet } = title
    const { standing, refusal } = this.#knownOf(title)
    const still = refusal !== null ? 'refused' : (standing?.state ?? 'new')
    const state = this.work.isWorkingOn(id) ? 'working' : still
    const measured = standing?.measured ?? null
    return { id, name, path, isSheet, state, measured, refusal, delivery: this.#deliveryOf(id) }
  }

  #deliveryOf(id: string): ShelfEntry['delivery'] {
    const folder = this.deliveryFolder(id)
    const report = join(folder, 'report.json')
    if (!existsSync(join(folder, 'manifest.json')) || !existsSync(report)) return null
    try {
      const { conforms } = JSON.parse(readFileSync(report, 'utf8')) as { readonly conforms?: unknown }
      return { folder, conforms: typeof conforms === 'boolean' ? conforms : null }
    } catch {
      return { folder, conforms: null }
    }
  }
}

/** The sheet that the page sent. */
async function readSheetText(sheetPath: string, text: string): Promise<Sheet> {
  const { readSheetFile } = await import('../protocol/index.ts')
  const reading = readSheetFile(JSON.parse(text))
  if (reading.problems === null) return reading.sheet
  throw refuse('JOBS_SHEET_INVALID', `take the sheet "${sheetPath}"`, listProblems(reading.problems))
}

/** A new folder in another: files of two titles may have one name. */
function freshFolder(parent: string): string {
  return mkdtempSync(join(parent, 'title-'))
}

/** Size and time of the files that a title is read from. */
function stampOf(files: readonly string[]): string {
  return files
    .map((path) => statSync(path, { throwIfNoEntry: false }))
    .map((stat) => (stat === undefined ? 'gone' : `${stat.size} ${stat.mtimeMs}`))
    .join(', ')
}

/** Size and time of the files that its sound comes from. */
function soundStampOf({ files, isSheet }: ShelvedTitle): string {
  return stampOf(isSheet ? files.slice(1) : files)
}

function renamed<T>(map: Map<string, T>, from: string, to: string): void {
  const value = map.get(from)
  if (value === undefined) return
  map.delete(from)
  map.set(to, value)
}

function tagOf(text: string): string {
  return createHash('sha256').update(text).digest('hex').slice(0, 16)
}

/** Whether two sheets are measured alike: they differ in nothing that the measurement reads. */
function isSameMeasurement(before: string, after: string): boolean {
  const measuredBy = (text: string) => {
    const { sources, segments, spec, timecode, waivers } = JSON.parse(text) as Record<string, unknown>
    return JSON.stringify([sources, segments, spec, timecode, waivers])
  }
  return measuredBy(before) === measuredBy(after)
}

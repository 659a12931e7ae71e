import { join } from 'node:path'
import { energyDivision, hasFoldDown, type Sheet } from '../domain/index.ts'
import { type Crew, type Progress, planProgramme, type ResultOf, type Task } from '../engine/index.ts'
import type { ListeningPlan, RideMoves } from '../protocol/index.ts'
import type { WorkerCrew } from './crew.ts'
import { compileKernels } from './kernels.ts'
import { createPlanes } from './planes-file.ts'
import { readTracks } from './read-tracks.ts'
import { RememberingCrew, type TaskResults } from './remembering-crew.ts'
import { ScratchFolder } from './scratch.ts'
import { besideSheet } from './sheet.ts'
import { type OpenedSource, refuseChanged } from './source.ts'
import { askedOf, identityOf, openTitle, orderedTitle, type Title, type TitleOptions } from './title.ts'
import { TOOL_VERSION } from './tool.ts'
import { hireCrew, isListening, type JobOptions } from './with-crew.ts'
import type { Places } from './workplace.ts'

type PlanOptions = JobOptions &
  TitleOptions & {
    /** As it stands in the page; its files were checked against their hashes when the title was measured. */
    readonly sheet: Sheet
    readonly sheetPath: string
  }

/** What planning a title stands on and finds out, for as long as nothing of it changes. */
type Ground = {
  /** Of the sheet all that the source and its upmix depend on. */
  readonly key: string
  readonly scratch: ScratchFolder
  readonly source: OpenedSource
  readonly places: Places
  readonly results: TaskResults
  sha256: Promise<string> | null
  /** Where the sound lies that a plan is heard from. */
  location: OpenedSource['location']
}

/** A crew that is not needed for this long is let go. */
const REST_MS = 60_000

/** What depends on the two tracks alone, whatever the upmix. */
const OF_THE_SOURCE: readonly Task['kind'][] = ['read-source', 'listen']

/**
 * Plans one title again and again: does everything of a delivery that comes before its first render, so that the result
 * can be heard while it is decided. The analysis of the upmix, what was heard and the crew are kept from plan to plan, so
 * that a plan for other trims, locks or lines takes no more than deciding.
 */
export class TitlePlanner {
  #ground: Ground | null = null
  /** That of the last plan that was made: it is listened to. */
  #heard: Ground | null = null
  #crew: WorkerCrew | null = null
  #rest: NodeJS.Timeout | undefined

  /** Where the sound lies that the last plan is heard from; null before there is one. */
  get location(): OpenedSource['location'] | null {
    return this.#heard?.location ?? null
  }

  async plan(options: PlanOptions, progress?: (progress: Progress) => void): Promise<ListeningPlan> {
    clearTimeout(this.#rest)
    const { title, ground } = await this.#open(options)
    try {
      const plan = await this.#planOn(ground, title, options, progress)
      if (this.#heard !== null && this.#heard !== ground) this.#heard.scratch[Symbol.dispose]()
      this.#heard = ground
      // Tasks on a mended master read as those on its source do.
      if (plan.upmix?.isMended) this.#ground = null
      return plan
    } catch (error) {
      ground.sha256 = null
      await this.letGo()
      throw error
    } finally {
      this.#rest = setTimeout(() => void this.letGo(), REST_MS).unref()
    }
  }

  /** Lets the crew go; what it found out stays. */
  async letGo(): Promise<void> {
    clearTimeout(this.#rest)
    const crew = this.#crew
    this.#crew = null
    await crew?.close()
  }

  async close(): Promise<void> {
    await this.letGo()
    for (const ground of [this.#ground, this.#heard]) ground?.scratch[Symbol.dispose]()
  }

  async #open(options: PlanOptions): Promise<{ readonly title: Title; readonly ground: Ground }> {
    const { sheetPath } = options
    const sheet = { ...options.sheet, sources: options.sheet.sources.map((file) => ({ ...file, sha256: null })) }
    const reels = sheet.sources.map(({ path, layout, order }) => ({
      path: besideSheet(sheetPath, path),
      layout: (layout ?? undefined) as TitleOptions['layout'],
      order: (order ?? undefined) as TitleOptions['order'],
    }))
    const named = { onDisk: { path: sheetPath, sheet }, reels }
    const key = JSON.stringify([sheet.sources, sheet.timecode, sheet.upmix])
    const before = this.#ground
    const isSameSource = before !== null && isUnchanged(before.source)
    if (isSameSource && before.key === key) {
      return {
        title: await openTitle(named, () => before.scratch.path, { ...options, opened: before.source }),
        ground: before,
      }
    }
    await this.letGo()
    const scratch = new ScratchFolder()
    const title = await openTitle(named, () => scratch.path, options)
    const { source } = title
    const isUpmix = source.layout === '2.0'
    const planes = isUpmix ? { planes: createPlanes(join(scratch.path, 'planes'), source.frameCount) } : {}
    const isSameReading = isSameSource && JSON.stringify(before.source.location) === JSON.stringify(source.location)
    const results = new Map(isSameReading ? [...before.results].filter(isOfTheSource) : [])
    const ground = { key, scratch, source, results, sha256: null, location: source.location }
    if (before !== null && before !== this.#heard) before.scratch[Symbol.dispose]()
    this.#ground = { ...ground, places: { source: source.location, ...planes } }
    return { title, ground: this.#ground }
  }

  async #planOn(
    ground: Ground,
    title: Title,
    options: PlanOptions,
    progress: ((progress: Progress) => void) | undefined,
  ): Promise<ListeningPlan> {
    const { source, spec } = title
    const isUpmix = source.layout === '2.0'
    const listens = isListening(options) && (isUpmix || spec !== null)
    const hire = () => {
      this.#crew ??= hireCrew(source, { ...options, listens: true, aside: true }, ground.places)
      return this.#crew
    }
    const crew = new PlanningCrew(ground.results, hire)
    const stop = () => this.#crew?.stop()
    options.signal?.addEventListener('abort', stop)
    try {
      const way = { scratchFolder: () => ground.scratch.path, listens, progress }
      const read = isUpmix ? await readTracks(source, title.upmix.settings, crew, ground.places, way) : null
      ground.location = (read?.places.source ?? source.location) as OpenedSource['location']
      const { encoding, channelCount } = ground.location.format
      const isMended = ground.location !== source.location
      const upmix = read && { reading: read.reading, sound: { encoding, channelCount }, isMended, energy: null }
      if (spec === null) return { upmix, gain: null, moves: null, feasible: false, findings: [] }
      const ordered = orderedTitle(title, options.signal, ground.sha256)
      ground.sha256 = ordered.sha256
      const {
        plan,
        certificate,
        lfe = null,
        ceilingLossDb,
        whole,
        feasible,
        findings,
      } = await planProgramme(
        {
          tool: { version: TOOL_VERSION, kernelsSha256: compileKernels().sha256 },
          title: identityOf(title),
          source: ordered,
          spec,
          upmix: read && { ...title.upmix, reading: read.reading },
          fit: title.fit,
          listens,
          heard: read?.heard ?? null,
          ...askedOf(title),
          bitsPerSample: 24,
          stereo: hasFoldDown(isUpmix ? '5.1' : source.layout),
          keepsNonconforming: true,
          writesGain: false,
          writesDifference: false,
        },
        crew,
        progress === undefined ? {} : { progress },
      )
      crew.forgetOthers()
      const moves = { ride: movesOf(certificate), lfeRide: movesOf(lfe), ceilingLossDb }
      const energy = energyDivision(whole.channels100ms, whole.layout)
      return { upmix: upmix && { ...upmix, energy }, gain: plan, moves, feasible, findings }
    } finally {
      options.signal?.removeEventListener('abort', stop)
    }
  }
}

/** Remembers until it is told to work on other audio; hands are hired when something is to be done. */
class PlanningCrew implements Crew {
  readonly #hire: () => WorkerCrew
  #crew: RememberingCrew

  constructor(results: TaskResults, hire: () => WorkerCrew) {
    this.#hire = hire
    this.#crew = new RememberingCrew(results, { map: (tasks, onDone) => hire().map(tasks, onDone) })
  }

  map<T extends Task>(tasks: readonly T[], onDone?: () => void): Promise<ResultOf<T>[]> {
    return this.#crew.map(tasks, onDone)
  }

  move(places: Places): void {
    const crew = this.#hire()
    crew.move(places)
    this.#crew = new RememberingCrew(new Map(), crew)
  }

  forgetOthers(): void {
    this.#crew.forgetOthers()
  }
}

/** A ride as it is drawn. */
function movesOf(
  ride: {
    readonly rideDb: Float64Array
    readonly corridor: { readonly lowerDb: Float64Array; readonly upperDb: Float64Array }
  } | null,
): RideMoves | null {
  if (ride === null) return null
  const { rideDb, corridor } = ride
  return { gainDb: rideDb, lowestDb: corridor.lowerDb, highestDb: corridor.upperDb }
}

function isUnchanged(source: OpenedSource): boolean {
  try {
    refuseChanged(source)
    return true
  } catch {
    return false
  }
}

function isOfTheSource([key]: [string, unknown]): boolean {
  return OF_THE_SOURCE.some((kind) => key.includes(`["kind","${kind}"]`))
}

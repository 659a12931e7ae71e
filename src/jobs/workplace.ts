import { type AudioSink, type AudioSource, assert, type Cancellation, type PlaneStore } from '../domain/index.ts'
import type { Kernels } from '../dsp/index.ts'
import type { AudioName, Bench } from '../engine/index.ts'
import { openAudio, openPcmSink, type PcmLocation, type ReelLocation } from '../media/index.ts'
import { PlanesFile, type PlanesLocation } from './planes-file.ts'

/** Where the audio of a title lies, as it travels to a worker. A file that is written again keeps its name and gets a new place. */
export type Places = { readonly [name in AudioName]?: PcmLocation | ReelLocation } & {
  readonly planes?: PlanesLocation
}

/** The bench of one worker: opens what a task names when it is first used and closes it when its place changes. */
export class Workplace implements Bench {
  readonly kernels: Kernels
  readonly cancellation: Cancellation
  readonly #speechWeights: Float32Array | null
  #places: Places
  readonly #open = new Map<string, { close(): void }>()

  constructor(
    kernels: Kernels,
    cancellation: Cancellation,
    birth: { readonly places: Places; readonly speechWeights: Float32Array | null },
  ) {
    this.kernels = kernels
    this.cancellation = cancellation
    this.#places = birth.places
    this.#speechWeights = birth.speechWeights
  }

  get speechWeights(): Float32Array {
    assert(this.#speechWeights !== null, 'the crew was hired to listen')
    return this.#speechWeights
  }

  /** Takes the new places and lets go of every open file. */
  move(places: Places): void {
    this.close()
    this.#places = places
  }

  source(name: AudioName): AudioSource {
    return this.#once(`read ${name}`, () => openAudio(this.#place(name)))
  }

  sink(name: AudioName): AudioSink {
    return this.#once(`write ${name}`, () => {
      const place = this.#place(name)
      assert(!('reels' in place), 'nothing is written into reels')
      return openPcmSink(place)
    })
  }

  get planes(): PlaneStore {
    return this.#once('planes', () => {
      const { planes } = this.#places
      assert(planes !== undefined, 'the crew has no place for scratch planes')
      return new PlanesFile(planes)
    })
  }

  close(): void {
    for (const file of this.#open.values()) file.close()
    this.#open.clear()
  }

  #place(name: AudioName): PcmLocation | ReelLocation {
    const place = this.#places[name]
    assert(place !== undefined, `the crew has no place for "${name}"`)
    return place
  }

  #once<T extends { close(): void }>(key: string, open: () => T): T {
    const known = this.#open.get(key) as T | undefined
    if (known !== undefined) return known
    const file = open()
    this.#open.set(key, file)
    return file
  }
}

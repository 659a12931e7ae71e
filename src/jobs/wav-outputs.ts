import { renameSync, rmSync, statSync } from 'node:fs'
import { basename, extname } from 'node:path'
import {
  type Cancellation,
  type DeliverableRole,
  type DeliveredFile,
  LAYOUTS,
  type LayoutName,
  type Measurements,
} from '../domain/index.ts'
import type { AudioName, DeliveryStore } from '../engine/index.ts'
import { type Bext, createWav, type PcmLocation, sealWav, sha256Of, type WavPlan } from '../media/index.ts'
import { whileWriting } from './file-errors.ts'
import { type OpenedSource, refuseChanged } from './source.ts'
import { TOOL_VERSION } from './tool.ts'
import type { Places } from './workplace.ts'

/** A WAV file that a run writes, and what the workers call it. */
export type WavOutput = {
  readonly audio: Extract<AudioName, 'multichannel' | 'stereo' | 'gain' | 'difference'>
  /** Null: a file beside the delivery, not part of it. */
  readonly role: DeliverableRole | null
  readonly layout: LayoutName
  readonly encoding: 'int16' | 'int24' | 'float32'
  /** Its name once it is in place. */
  readonly name: string
}

/** The WAV files of one run: made empty before each render, completed and hashed after the last. */
export class WavOutputs implements DeliveryStore {
  readonly #outputs: readonly WavOutput[]
  readonly #source: OpenedSource
  readonly #partPath: (name: string) => string
  readonly #move: (places: Places) => void
  readonly #cancellation: Cancellation | undefined

  constructor(
    outputs: readonly WavOutput[],
    source: OpenedSource,
    edge: {
      /** Where a file lies until it is put in place. */
      readonly partPath: (name: string) => string
      /** Tells the crew where the files lie. */
      readonly move: (places: Places) => void
      readonly cancellation?: Cancellation | undefined
    },
  ) {
    this.#outputs = outputs
    this.#source = source
    this.#partPath = edge.partPath
    this.#move = edge.move
    this.#cancellation = edge.cancellation
  }

  beginPass(): void {
    const places: { [name in AudioName]?: PcmLocation } = {}
    for (const output of this.#outputs) {
      const part = this.#partPath(output.name)
      whileWriting(part, () => rmSync(part, { force: true }))
      places[output.audio] = createWav(part, this.#plan(output, null))
    }
    this.#move(places)
  }

  async seal(
    files: readonly Omit<DeliveredFile, 'path' | 'sha256' | 'bytes'>[],
    conforms: boolean,
  ): Promise<readonly DeliveredFile[]> {
    refuseChanged(this.#source)
    const sealed: DeliveredFile[] = []
    for (const output of this.#outputs) {
      const file = files.find(({ role }) => role === output.role)
      const part = this.#partPath(output.name)
      sealWav(part, this.#plan(output, file?.measurements ?? null))
      if (file === undefined) continue
      const path = conforms ? output.name : nonconformingName(output.name)
      if (!conforms) whileWriting(part, () => renameSync(part, this.#partPath(path)))
      sealed.push({ ...file, path, ...(await this.#fingerprint(this.#partPath(path))) })
    }
    return sealed
  }

  async #fingerprint(path: string): Promise<{ readonly sha256: string; readonly bytes: number }> {
    return { sha256: await sha256Of(path, { cancellation: this.#cancellation }), bytes: statSync(path).size }
  }

  #plan(output: WavOutput, measurements: Measurements | null): WavPlan {
    const { sampleRateHz } = this.#source.format
    const { layout, encoding } = output
    return {
      format: { encoding, channelCount: LAYOUTS[layout].length, sampleRateHz },
      layout,
      frameCount: this.#source.frameCount,
      bext: bextOf(this.#source, output, measurements),
    }
  }
}

/** A file that was kept although it does not conform says so in its name. */
export function nonconformingName(name: string): string {
  const ending = extname(name)
  return `${basename(name, ending)}_nonconforming${ending}`
}

const WORD_BITS = { int16: 16, int24: 24, float32: 32 } as const

/** The broadcast extension of an output. Dates and the time reference are the source's: no clock has a say. */
function bextOf(source: OpenedSource, output: WavOutput, measurements: Measurements | null): Bext {
  const { bext, format } = source
  const history = `A=PCM,F=${format.sampleRateHz},W=${WORD_BITS[output.encoding]},T=Plimsoll ${TOOL_VERSION}\r\n`
  return {
    description: basename(output.name, '.wav'),
    originator: 'Plimsoll',
    originatorReference: bext?.originatorReference ?? '',
    originationDate: bext?.originationDate ?? '',
    originationTime: bext?.originationTime ?? '',
    timeReferenceSamples: bext?.timeReferenceSamples ?? 0,
    umid: null,
    loudness: measurements,
    codingHistory: `${bext?.codingHistory ?? ''}${history}`,
  }
}

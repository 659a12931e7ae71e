import { framesPerHop, gatedLoudness } from '../../domain/index.ts'
import { KLoudness } from '../../dsp/index.ts'
import { type Chunk, SIGNALS, type SignalName } from './chunk.ts'
import { busPlanes, type Matrix, outputWeights, type Shares } from './heard.ts'
import type { DeskShape } from './mixing-desk.ts'
import { SmallSpeaker } from './small-speakers.ts'

/** One way to hear a programme, by a name of the page's. */
export type Way = { readonly name: string; readonly shares: Shares; readonly matrix: Matrix; readonly isSmall: boolean }

/**
 * The gated loudness of a stretch in each way that it can be heard, in LKFS before the monitor; null where it is too soft
 * or too short to be measured. Trims are left out: they are short, and a match holds for all of what is compared.
 * @source ITU-R BS.1770-5 Annex 1
 */
export class WaysMeasured {
  readonly #ways: readonly {
    readonly way: Way
    readonly meter: KLoudness
    readonly speakers: readonly SmallSpeaker[]
  }[]
  readonly #places: ReadonlyMap<SignalName, readonly number[]>

  constructor(shape: DeskShape, ways: readonly Way[]) {
    const planes = busPlanes(shape.layout)
    this.#places = new Map(
      SIGNALS.map((signal) => [
        signal,
        [...(shape.signalRoles[signal] ?? []), 'S' as const].map((one) => planes.indexOf(one)),
      ]),
    )
    this.#ways = ways.map((way) => {
      const weights = outputWeights(shape.layout, way.matrix.length)
      return {
        way,
        meter: new KLoudness(shape.sampleRateHz, weights, framesPerHop(shape.sampleRateHz)),
        speakers: [0, 1].map(() => new SmallSpeaker(shape.sampleRateHz)),
      }
    })
  }

  add({ signals, frameCount }: Chunk): void {
    for (const { way, meter, speakers } of this.#ways) {
      const terms = termsOf(way, signals, this.#places)
      const frame = new Float64Array(way.matrix.length)
      for (let i = 0; i < frameCount; i++) {
        frame.fill(0)
        for (const { plane, output, gain } of terms) frame[output]! += plane[i]! * gain
        if (way.isSmall) for (const [side, speaker] of speakers.entries()) frame[side] = speaker.next(frame[side]!)
        meter.add(frame)
      }
    }
  }

  loudness(): ReadonlyMap<string, number | null> {
    return new Map(this.#ways.map(({ way, meter }) => [way.name, gatedLoudness(Float64Array.from(meter.powers))]))
  }
}

/** Every plane that reaches an output, and how loud. */
function termsOf(
  { shares, matrix }: Way,
  signals: Chunk['signals'],
  places: ReadonlyMap<SignalName, readonly number[]>,
) {
  const shareOf = { source: shares.source + shares.trimmed, upmix: shares.upmix, fitted: shares.fitted }
  return SIGNALS.flatMap((signal) =>
    (signals[signal] ?? []).flatMap((plane, channel) =>
      matrix.map((row, output) => ({
        plane,
        output,
        gain: shareOf[signal] * (row[places.get(signal)![channel]!] ?? 0),
      })),
    ),
  ).filter(({ gain }) => gain !== 0)
}

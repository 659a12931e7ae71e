import {
  type AudioSource,
  type ChannelSpectrum,
  type FaultReport,
  type FrameRange,
  LAYOUTS,
  type Role,
  type Structure,
} from '../../src/domain/index.ts'
import type { Detector } from '../../src/engine/intake/detector.ts'
import { faultDetector } from '../../src/engine/intake/faults/index.ts'
import { spectrumDetector } from '../../src/engine/intake/spectrum/index.ts'
import { structureDetector } from '../../src/engine/intake/structure/index.ts'
import { inspectWith } from '../../test/testkit/inspected.ts'
import type { Sound } from './material.ts'

/** Something that the tool says of a programme, at a place. */
export type Finding = FrameRange & {
  readonly id: string
  readonly channels: readonly Role[]
  readonly count: number
  readonly places: readonly FrameRange[]
  readonly figures: Readonly<Record<string, number>>
}

type Seen = {
  readonly faults: FaultReport
  readonly spectrum: readonly ChannelSpectrum[]
  readonly structure: Structure
}

type Evidence = {
  readonly faults: ReturnType<typeof faultDetector.observe>
  readonly spectrum: ReturnType<typeof spectrumDetector.observe>
  readonly structure: ReturnType<typeof structureDetector.observe>
}

const together: Detector<Evidence, Seen> = {
  observe: (kernels, stretch) => ({
    faults: faultDetector.observe(kernels, stretch),
    spectrum: spectrumDetector.observe(kernels, stretch),
    structure: structureDetector.observe(kernels, stretch),
  }),
  conclude: (evidence, programme) => ({
    faults: faultDetector.conclude(
      evidence.map(({ faults }) => faults),
      programme,
    ),
    spectrum: spectrumDetector.conclude(
      evidence.map(({ spectrum }) => spectrum),
      programme,
    ),
    structure: structureDetector.conclude(
      evidence.map(({ structure }) => structure),
      programme,
    ),
  }),
}

/** Words of 24 bits, encoded as they are read. */
export function sourceOf({ planes, layout, sampleRateHz }: Sound): AudioSource {
  const channelCount = LAYOUTS[layout].length
  return {
    format: { encoding: 'int24', channelCount, sampleRateHz },
    layout,
    frameCount: (planes[0] as Float32Array).length,
    readInto(bytes, firstFrame, count) {
      for (const [channel, plane] of planes.entries()) {
        for (let frame = 0, at = 3 * channel; frame < count; frame++, at += 3 * channelCount) {
          const word = Math.max(
            -0x800000,
            Math.min(0x7fffff, Math.round((plane[firstFrame + frame] as number) * 0x800000)),
          )
          bytes[at] = word
          bytes[at + 1] = word >> 8
          bytes[at + 2] = word >> 16
        }
      }
    },
  }
}

/** All that is said of the sound and of what lies on it, in one list. */
export function lookAt(sound: Sound): Finding[] {
  const { faults, spectrum, structure } = inspectWith(together, sourceOf(sound))
  const whole = { startFrame: 0, endFrame: (sound.planes[0] as Float32Array).length }
  const all = LAYOUTS[sound.layout]
  const single = (id: string, place: FrameRange, channels: readonly Role[], figures = {}): Finding => {
    const { startFrame, endFrame } = place
    return { id, startFrame, endFrame, channels, count: 1, places: [{ startFrame, endFrame }], figures }
  }
  return [
    ...faults.faults,
    ...spectrum.flatMap(({ role, hum, bandLimit, lineWhistle }) => [
      ...(hum === null ? [] : [single('hum', whole, [role], { hz: hum.fundamentalHz, mainsHz: hum.mainsHz })]),
      ...(bandLimit === null ? [] : [single('band-limit', whole, [role], { hz: bandLimit.cutHz })]),
      ...(lineWhistle === null ? [] : [single('line-whistle', whole, [role], { hz: lineWhistle.frequencyHz })]),
    ]),
    ...structure.tones.map((tone) => single(`tone (${tone.kind})`, tone, tone.channels, { hz: tone.frequencyHz })),
    ...structure.segments
      .filter(({ kind }) => !['programme', 'tone', 'silence'].includes(kind))
      .map((segment) => single(segment.kind, segment, all)),
    ...(structure.headSilence === null ? [] : [single('head silence', structure.headSilence, all)]),
    ...(structure.tailSilence === null ? [] : [single('tail silence', structure.tailSilence, all)]),
    ...(structure.twoPop === null ? [] : [single('2-pop', structure.twoPop, all)]),
  ]
}

// What it changes in the surrounds that a voice is listened for.
import type { UpmixPlan } from '../../src/domain/index.ts'
import type { Kernels } from '../../src/dsp/index.ts'
import { db, planFor, surroundEnergy, throughWeightsOf } from './five-channels.ts'
import { type MixName, type Stem, type StemSet, stemsOf, summed } from './mixes-stems.ts'

/** Energies in Ls + Rs against those of an upmix for which nobody listened, dB. */
export type HeardFigures = {
  /** Of the dialogue, under hard effects. */
  readonly dialogueDb: number
  /** Of the room of music without a voice. */
  readonly musicRoomDb: number
}

export function heardFigures(kernels: Kernels, set: StemSet): HeardFigures {
  const changeDb = (name: MixName, is: (stem: Stem) => boolean): number => {
    const stems = stemsOf(set, name)
    const mix = summed(stems)
    const part = summed(stems.filter(is))
    const heard = planFor(kernels, mix)
    const unheard: UpmixPlan = { ...heard, reading: { ...heard.reading!, voice100ms: null } }
    const [withVoice, without] = [heard, unheard].map((plan) =>
      surroundEnergy(throughWeightsOf(kernels, mix, part, plan)),
    ) as [number, number]
    return db(withVoice / without)
  }
  return {
    dialogueDb: changeDb('dialogue + effects', ({ name }) => name === 'dialogue'),
    musicRoomDb: changeDb('music', ({ isAmbience }) => isAmbience),
  }
}

import { type Measured, type RefusalTable, refuserOf } from '../domain/index.ts'

/** Every reason for which a run is refused once the audio has been read. */
export const ENGINE_REFUSALS = {
  ENGINE_SOURCE_NOT_FINITE: {
    sentence: 'Samples of the source are NaN or infinite.',
    wanted: 'finite samples only',
    remedy: 'Mend the file in the program that wrote it; "plimsoll measure" tells how many there are.',
  },
} as const satisfies RefusalTable

const refuse = refuserOf(ENGINE_REFUSALS)

/** Nothing is made of audio whose samples are not all numbers: they would spread through every filter. */
export function refuseNonFinite(what: string, { nonFiniteSampleCount }: Measured): void {
  if (nonFiniteSampleCount === 0) return
  throw refuse('ENGINE_SOURCE_NOT_FINITE', `use ${what}`, 'samples that are not a number or infinite')
}

import type { UpmixFigures } from '../../test/testkit/mixes-metrics.ts'
import type { MixName } from '../../test/testkit/mixes-stems.ts'

/** The figure that must hold on the tuning set with default settings; `most` or `least` it may be. */
export type Floor = {
  readonly mix: MixName
  readonly figure: keyof UpmixFigures
  readonly limit: { readonly most: number } | { readonly least: number }
}

/** What a first version of this method reached on these mixes, with a little room; nothing may fall below it unseen. */
export const FLOORS: readonly Floor[] = [
  { mix: 'full', figure: 'dialogueInCentrePercent', limit: { least: 99 } },
  { mix: 'dialogue + ambience', figure: 'dialogueInCentrePercent', limit: { least: 98.5 } },
  { mix: 'dialogue + music', figure: 'dialogueInCentrePercent', limit: { least: 98.5 } },
  { mix: 'dialogue + effects', figure: 'dialogueInCentrePercent', limit: { least: 98.5 } },
  { mix: 'full', figure: 'dialogueCleannessDb', limit: { least: 22 } },
  { mix: 'full', figure: 'dialogueInSurroundsDb', limit: { most: -28 } },
  { mix: 'dialogue + effects', figure: 'dialogueInSurroundsDb', limit: { most: -24 } },
  { mix: 'dialogue + effects', figure: 'effectsInCentreDb', limit: { most: -19 } },
  { mix: 'full', figure: 'effectsInCentreDb', limit: { most: -12 } },
  { mix: 'full', figure: 'imageErrorMeanDegrees', limit: { most: 1.5 } },
  { mix: 'full', figure: 'imageErrorMaxDegrees', limit: { most: 4 } },
  { mix: 'full', figure: 'ambienceInCentreDb', limit: { most: -4.2 } },
  { mix: 'dialogue + ambience', figure: 'surroundAmbientToDirectDb', limit: { least: 14 } },
  { mix: 'dialogue + effects', figure: 'surroundAmbientToDirectDb', limit: { least: 2 } },
  { mix: 'full', figure: 'surroundAmbientToDirectDb', limit: { least: -2.6 } },
  { mix: 'dialogue + effects', figure: 'preEchoDb', limit: { most: -45 } },
  { mix: 'full', figure: 'surroundCoherence', limit: { least: -0.35 } },
  { mix: 'full', figure: 'surroundCoherence', limit: { most: 0.35 } },
  { mix: 'full', figure: 'unevenness', limit: { most: 1.6 } },
]

export function isReached(floor: Floor, value: number): boolean {
  return 'most' in floor.limit ? value <= floor.limit.most : value >= floor.limit.least
}

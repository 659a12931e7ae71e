/** What a delivery may hold beside its mixes. */
export type WantedBeside = {
  readonly writesGain: boolean
  readonly writesDifference: boolean
  /** What was altered is also drawn as a file of its own. */
  readonly drawsPicture: boolean
}

/** The total gain of every frame, what was done beyond the static gain, and a picture of what was altered. */
export type RoleBeside = 'gain' | 'difference' | 'picture'

/** What each is called, behind the name of the title. */
export const ENDINGS_BESIDE: Readonly<Record<RoleBeside, string>> = {
  gain: 'gain.wav',
  difference: 'difference.wav',
  picture: 'altered.svg',
}

export function rolesBeside(wanted: WantedBeside): readonly RoleBeside[] {
  return [...soundBeside(wanted), ...(wanted.drawsPicture ? (['picture'] as const) : [])]
}

/** Those of them that are rendered along with the mix. */
export function soundBeside({
  writesGain,
  writesDifference,
}: Pick<WantedBeside, 'writesGain' | 'writesDifference'>): readonly ('gain' | 'difference')[] {
  return [...(writesGain ? (['gain'] as const) : []), ...(writesDifference ? (['difference'] as const) : [])]
}

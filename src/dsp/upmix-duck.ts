/** How far the surrounds give way at one moment. */
export type Duck = {
  /** 0..1. */
  readonly amount: number
  /** Share of common power in a bin from which it gives way, and over which range it comes to `amount`. */
  readonly from: number
  readonly range: number
  /** Of the difference of Ls and Rs, 0..1: left out. */
  readonly narrowing: number
}

type Span = readonly [from: number, fully: number]

/** Shares of common power: of the band of speech, from which something in the middle counts as speaking, and of a bin. */
type DuckLaw = { readonly middle: Span; readonly bin: Span }

/** Where nobody listened: a middle that is common speaks, whatever it is. */
const UNHEARD: DuckLaw = { middle: [0.2, 0.5], bin: [0.05, 0.3] }
/** Where nobody speaks: little gives way to a middle that is music. */
const NO_VOICE: DuckLaw = { middle: [0.4, 0.8], bin: [0.15, 0.55] }
/** Where a voice sounds its bins give way, whatever sounds beside it. */
const VOICE_BIN: Span = [0.075, 0.35]

/**
 * What is not common is what remains under a voice: the surrounds are opposed by it. So much less difference brings them
 * back over a signed coherence of -0.1 in any 3 s.
 * @source docs/decisions/0043
 */
const VOICE_NARROWING = 0.3

/** How surely a voice must sound to be one: a little over what music gives, and well below what a clear voice does. */
const VOICE: Span = [0.15, 0.4]

/**
 * How far a voice counts as sounding, 0..1.
 * @param voice how surely it sounds, 0..1; null where nobody listened
 */
export function soundingVoice(voice: number | null): number {
  return voice === null ? 0 : within(voice, VOICE)
}

/**
 * How far the surrounds give way.
 * @param share of the power in the band of speech that left and right have in common, 0..1
 * @param voice how surely a voice sounds, 0..1; null where nobody listened
 * @source docs/decisions/0029: chosen on the tuning set, judged on recorded voices
 */
export function duckFor(share: number, voice: number | null): Duck {
  if (voice === null) return { amount: within(share, UNHEARD.middle), narrowing: 0, ...binRange(UNHEARD.bin) }
  const sounds = soundingVoice(voice)
  const middle = within(share, NO_VOICE.middle)
  const between = (from: number, to: number) => from + sounds * (to - from)
  const [none, full] = [NO_VOICE.bin, VOICE_BIN]
  const bins = binRange([between(none[0], full[0]), between(none[1], full[1])])
  return { amount: between(middle, 1), narrowing: sounds * VOICE_NARROWING, ...bins }
}

function within(x: number, [from, fully]: Span): number {
  return Math.max(0, Math.min(1, (x - from) / (fully - from)))
}

function binRange([from, fully]: Span): Pick<Duck, 'from' | 'range'> {
  return { from, range: fully - from }
}

import {
  type FoundTone,
  type FrameRateName,
  type FrameRateSign,
  frameRateFraction,
  type SpeedSuspicion,
} from '../../../domain/index.ts'

/** Pops are found at all of these; lengths are asked for the ones to 30 only, whose pictures are long enough to tell. */
const RATES: readonly FrameRateName[] = ['23.976', '24', '25', '29.97', '30', '48', '50', '59.94', '60']
const RATES_OF_LENGTHS = RATES.slice(0, 5)
/** How far a pop's length may lie off a picture's, in frames at 48 kHz: sharp, and with a soft or noisy edge. */
const SHARP_FRAMES = 1.5
const SOFT_FRAMES = 40
const REFERENCE_RATE_HZ = 48000

/** Which picture rates the lengths found speak for, the one with most signs first. */
export function frameRateSigns(
  found: {
    readonly pops: readonly FoundTone[]
    /** From the 2-pop's first frame to the first sound behind it. */
    readonly popToAction: number | null
    /** Lengths that cuts made: the file, and the action between the two pops or between black and black. */
    readonly lengths: readonly { readonly name: string; readonly frames: number }[]
  },
  sampleRateHz: number,
): FrameRateSign[] {
  const signs = new Map<FrameRateName, string[]>(RATES.map((rate) => [rate, []]))
  const add = (rates: readonly FrameRateName[], sentence: string) => {
    for (const rate of rates) signs.get(rate)!.push(sentence)
  }
  for (const pop of found.pops.slice(0, 2)) {
    const frames = pop.endFrame - pop.startFrame
    add(ratesOfPicture(frames, sampleRateHz), `A pop is ${frames} samples long: one picture.`)
  }
  if (found.popToAction !== null) {
    const frames = found.popToAction
    const named = RATES.filter((rate) => signs.get(rate)!.length > 0)
    // Two seconds tell whole rates from those with a decimal, so this sign serves to choose among the pop's.
    const rates = ratesOfTwoSeconds(frames, sampleRateHz).filter((rate) => named.includes(rate))
    add(rates, `From the 2-pop to the first sound there are ${frames} samples.`)
  }
  for (const { name, frames } of found.lengths) {
    const whole = RATES_OF_LENGTHS.filter((rate) => isWhole(frames, rate, sampleRateHz))
    if (whole.length === 1)
      add(whole, `The length of ${name}, ${frames} samples, is a whole number of pictures at no other rate.`)
  }
  return RATES.map((rate) => ({ rate, evidence: signs.get(rate)! }))
    .filter(({ evidence }) => evidence.length > 0)
    .toSorted((a, b) => b.evidence.length - a.evidence.length)
}

function ratesOfPicture(frames: number, sampleRateHz: number): FrameRateName[] {
  const scale = REFERENCE_RATE_HZ / sampleRateHz
  const distance = (rate: FrameRateName) => Math.abs(frames - pictureFrames(rate, sampleRateHz)) * scale
  const nearest = Math.min(...RATES.map(distance))
  if (nearest > SOFT_FRAMES) return []
  return RATES.filter(
    (rate) => distance(rate) <= (nearest <= SHARP_FRAMES / 2 ? SHARP_FRAMES / 2 : nearest + 2 * SHARP_FRAMES),
  )
}

function pictureFrames(rate: FrameRateName, sampleRateHz: number): number {
  const { numerator, denominator } = frameRateFraction(rate)
  return (sampleRateHz * denominator) / numerator
}

/** Two seconds of labels last 2.002 s at the rates with a decimal. */
function ratesOfTwoSeconds(frames: number, sampleRateHz: number): FrameRateName[] {
  const tolerance = (8 * sampleRateHz) / REFERENCE_RATE_HZ
  return RATES.filter((rate) => Math.abs(frames - twoSeconds(rate, sampleRateHz)) <= tolerance)
}

export function twoSeconds(rate: FrameRateName, sampleRateHz: number): number {
  return Math.round(2 * Math.round(Number(rate)) * pictureFrames(rate, sampleRateHz))
}

function isWhole(frames: number, rate: FrameRateName, sampleRateHz: number): boolean {
  const picture = pictureFrames(rate, sampleRateHz)
  return frames > 0 && Math.abs(frames - Math.round(frames / picture) * picture) < 1 - 1e-6 * picture
}

/** Ratios at which a programme runs when it was transferred at another rate than it was made at. */
const SPEEDS: readonly { readonly ratio: number; readonly name: string; readonly how: string }[] = [
  { ratio: 1000 / 1001, name: '1000/1001', how: 'pulled down by 0.1 %' },
  { ratio: 1001 / 1000, name: '1001/1000', how: 'pulled up by 0.1 %' },
  { ratio: 25 / 24, name: '25/24', how: 'film of 24 pictures run at 25' },
  { ratio: 24 / 25, name: '24/25', how: 'a 25-picture programme run at 24' },
  { ratio: 25025 / 24000, name: '25/23.976', how: 'a 23.976-picture programme run at 25' },
  { ratio: 24000 / 25025, name: '23.976/25', how: 'a 25-picture programme run at 23.976' },
  { ratio: 44100 / 48000, name: '44.1/48', how: '48 kHz audio played at 44.1 kHz' },
  { ratio: 48000 / 44100, name: '48/44.1', how: '44.1 kHz audio played at 48 kHz' },
]
const REFERENCE_TONE_HZ = 1000
/** A crystal clock holds 1 kHz within a few hundredths; the nearest two ratios lie 1 Hz apart. */
const TONE_TOLERANCE_HZ = 0.1
const STEADY_TONE_CONFIDENCE = 0.9
const POP_CONFIDENCE = 0.7

/** Whether 1 kHz tones lie where a wrong speed puts them. 997 Hz is a test tone of its own (AES17). */
export function speedSuspicion(tones: readonly FoundTone[], sampleRateHz: number): SpeedSuspicion | null {
  const suspicions = SPEEDS.map((speed) => {
    const wanted = REFERENCE_TONE_HZ * speed.ratio
    const witnesses = tones.filter((tone) => Math.abs(tone.frequencyHz - wanted) <= TONE_TOLERANCE_HZ)
    return { speed, wanted, witnesses }
  }).filter(({ witnesses }) => witnesses.length > 0)
  const strongest = suspicions.toSorted((a, b) => b.witnesses.length - a.witnesses.length)[0]
  if (strongest === undefined) return null
  const { speed, wanted, witnesses } = strongest
  const contradicting = tones.filter((tone) => Math.abs(tone.frequencyHz - REFERENCE_TONE_HZ) <= TONE_TOLERANCE_HZ)
  if (contradicting.length >= witnesses.length) return null
  const isSteady = witnesses.some((tone) => tone.endFrame - tone.startFrame >= sampleRateHz)
  const sentences = witnesses.map(
    (tone) =>
      `A ${tone.kind === 'pop' ? 'pop' : 'tone'} lies at ${tone.frequencyHz.toFixed(2)} Hz; ` +
      `1 kHz would lie at ${wanted.toFixed(2)} Hz: ${speed.how}.`,
  )
  return {
    ratio: speed.ratio,
    name: speed.name,
    confidence: isSteady ? STEADY_TONE_CONFIDENCE : POP_CONFIDENCE,
    evidence: [...new Set(sentences)],
  }
}

/** Band of a small loudspeaker, as those of laptops and kitchens have it. @source common practice */
const LOW_HZ = 180
const HIGH_HZ = 12_000
/** Of the two halves of a fourth-order Butterworth, and of one of second order. @source Butterworth pole angles */
const HIGH_PASS_QS = [0.541_196_1, 1.306_562_97]
const LOW_PASS_QS = [Math.SQRT1_2]

type Coefficients = {
  readonly b0: number
  readonly b1: number
  readonly b2: number
  readonly a1: number
  readonly a2: number
}

/** One loudspeaker that has neither bass nor the highest treble: 24 dB an octave below, 12 dB above. */
export class SmallSpeaker {
  readonly #stages: readonly { readonly by: Coefficients; z1: number; z2: number }[]

  constructor(sampleRateHz: number) {
    const stages = [
      ...HIGH_PASS_QS.map((q) => highPass(LOW_HZ, q, sampleRateHz)),
      ...LOW_PASS_QS.map((q) => lowPass(HIGH_HZ, q, sampleRateHz)),
    ]
    this.#stages = stages.map((by) => ({ by, z1: 0, z2: 0 }))
  }

  next(sample: number): number {
    let x = sample
    for (const stage of this.#stages) {
      const { b0, b1, b2, a1, a2 } = stage.by
      const y = b0 * x + stage.z1
      stage.z1 = b1 * x - a1 * y + stage.z2
      stage.z2 = b2 * x - a2 * y
      x = y
    }
    return x
  }
}

/** @source Audio EQ Cookbook, W3C Group Note: HPF */
function highPass(hz: number, q: number, sampleRateHz: number): Coefficients {
  const { cosine, alpha } = angles(hz, q, sampleRateHz)
  const edge = (1 + cosine) / 2
  return normalised({ b0: edge, b1: -2 * edge, b2: edge }, cosine, alpha)
}

/** @source Audio EQ Cookbook, W3C Group Note: LPF */
function lowPass(hz: number, q: number, sampleRateHz: number): Coefficients {
  const { cosine, alpha } = angles(hz, q, sampleRateHz)
  const edge = (1 - cosine) / 2
  return normalised({ b0: edge, b1: 2 * edge, b2: edge }, cosine, alpha)
}

function angles(hz: number, q: number, sampleRateHz: number) {
  const angle = (2 * Math.PI * hz) / sampleRateHz
  return { cosine: Math.cos(angle), alpha: Math.sin(angle) / (2 * q) }
}

function normalised({ b0, b1, b2 }: Pick<Coefficients, 'b0' | 'b1' | 'b2'>, cosine: number, alpha: number) {
  const a0 = 1 + alpha
  return { b0: b0 / a0, b1: b1 / a0, b2: b2 / a0, a1: (-2 * cosine) / a0, a2: (1 - alpha) / a0 }
}

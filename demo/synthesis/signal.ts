export const SAMPLE_RATE_HZ = 48000

export function framesOf(seconds: number): number {
  return Math.round(seconds * SAMPLE_RATE_HZ)
}

export function gainOf(db: number): number {
  return 10 ** (db / 20)
}

/** Multiplies every sample by a function of the time in seconds; changes the signal and gives it back. */
export function shape(signal: Float32Array, gainAt: (seconds: number) => number): Float32Array {
  // A gain is evaluated every 32 frames and drawn as a straight line between.
  const step = 32
  let gain = gainAt(0)
  for (let start = 0; start < signal.length; start += step) {
    const next = gainAt((start + step) / SAMPLE_RATE_HZ)
    const slope = (next - gain) / step
    const end = Math.min(start + step, signal.length)
    for (let f = start; f < end; f++) signal[f] = signal[f] * (gain + slope * (f - start))
    gain = next
  }
  return signal
}

/** A curve through points `[seconds, value]`, straight between them and held outside. */
export function curve(...points: readonly (readonly [number, number])[]): (seconds: number) => number {
  return (seconds) => {
    let before = points[0]
    for (const point of points) {
      if (point[0] > seconds) {
        const span = point[0] - before[0]
        return span > 0 ? before[1] + ((point[1] - before[1]) * (seconds - before[0])) / span : point[1]
      }
      before = point
    }
    return before[1]
  }
}

/** Reads a signal at another speed (and so pitch), with straight lines between the samples. */
export function atSpeed(signal: Float32Array, speed: number): Float32Array {
  const result = new Float32Array(Math.floor((signal.length - 1) / speed))
  for (let f = 0; f < result.length; f++) {
    const at = f * speed
    const index = Math.floor(at)
    const left = signal[index]
    result[f] = left + (signal[index + 1] - left) * (at - index)
  }
  return result
}

export function sum(...signals: readonly Float32Array[]): Float32Array {
  const result = new Float32Array(Math.max(...signals.map((signal) => signal.length)))
  for (const signal of signals) for (let f = 0; f < signal.length; f++) result[f] = result[f] + signal[f]
  return result
}

/** Bends what would go over: straight up to half of full scale, then ever flatter towards `top`, like tape. */
export function rounded(signal: Float32Array, top: number): Float32Array {
  const knee = 0.5
  return signal.map((sample) => {
    const over = Math.abs(sample) - knee
    return over > 0 ? Math.sign(sample) * (knee + (top - knee) * Math.tanh(over / (top - knee))) : sample
  })
}

import { dbToGain, FOLD_DOWN_K, foldDownCoefficients, type Role, type SampleEncoding } from '../../domain/index.ts'

/** What is listened to: the programme as it is, with the trims, or what the trims change. */
export type Listening = 'source' | 'trimmed' | 'difference'

/** Through which loudspeakers: each channel to its own, or folded down. */
export type Speakers = 'own' | 'lo-ro' | 'mono'

/** Gain of each channel at each output: `[output][channel]`. */
export type Matrix = readonly (readonly number[])[]

/**
 * How channels reach the outputs. Where the device has fewer outputs than the programme has channels, `own` is the
 * fold-down too.
 * @source ITU-R BS.775-4 Table 2; mono: half the sum of Lo and Ro, common practice
 */
export function matrixOf(
  roles: readonly Role[],
  speakers: Speakers,
  outputs: number,
  isHeard: (role: Role) => boolean,
): Matrix {
  const gate = (role: Role, gain: number) => (isHeard(role) ? gain : 0)
  if (speakers === 'own' && outputs >= roles.length && roles.length > 1) {
    return roles.map((_, output) => roles.map((role, channel) => gate(role, channel === output ? 1 : 0)))
  }
  const coefficients =
    roles.length === 2
      ? ([
          [1, 0],
          [0, 1],
        ] as const)
      : foldedDown(roles)
  const stereo = [0, 1].map((side) => roles.map((role, channel) => gate(role, coefficients[channel]![side]!)))
  const [left, right] = stereo as [number[], number[]]
  const rows =
    speakers === 'mono' ? [0, 1].map(() => left.map((gain, channel) => (gain + right[channel]!) / 2)) : stereo
  return [...rows, ...Array.from({ length: outputs - 2 }, () => roles.map(() => 0))]
}

function foldedDown(roles: readonly Role[]): readonly (readonly [number, number])[] {
  const name = ({ 1: 'mono', 5: '5.0', 6: '5.1', 8: '7.1' } as const)[roles.length]
  // A mono programme comes from both loudspeakers at 3 dB less, as a centre does.
  return name === undefined ? roles.map(() => [FOLD_DOWN_K, FOLD_DOWN_K]) : foldDownCoefficients(name)
}

/**
 * The gain of the trims at a frame, linear: a straight line in dB between the centres of two 100 ms, held before the
 * first and after the last, as a render writes it.
 * @param pointsDb one for each begun 100 ms; null without trims
 */
export function trimGainAt(pointsDb: Float64Array | null, frame: number, hopFrames: number): number {
  if (pointsDb === null) return 1
  const last = pointsDb.length - 1
  const at = frame / hopFrames - 0.5
  const index = Math.floor(at)
  const from = pointsDb[Math.min(last, Math.max(0, index))]!
  const to = pointsDb[Math.min(last, Math.max(0, index + 1))]!
  return from === 0 && to === 0 ? 1 : dbToGain(from + (to - from) * (at - index))
}

/** Interleaved PCM to planes of -1..1, exact in every encoding of 24 bits and less. */
export function planesOf(
  bytes: ArrayBuffer,
  encoding: SampleEncoding,
  channelCount: number,
): Float32Array<ArrayBuffer>[] {
  const view = new DataView(bytes)
  const { size, read } = READERS[encoding]
  const frameCount = Math.floor(bytes.byteLength / (size * channelCount))
  return Array.from({ length: channelCount }, (_, channel) =>
    Float32Array.from({ length: frameCount }, (_unused, frame) => read(view, (frame * channelCount + channel) * size)),
  )
}

const READERS: Readonly<
  Record<SampleEncoding, { readonly size: number; readonly read: (view: DataView, at: number) => number }>
> = {
  int16: { size: 2, read: (view, at) => view.getInt16(at, true) / 0x8000 },
  int24: { size: 3, read: (view, at) => ((view.getInt8(at + 2) << 16) | view.getUint16(at, true)) / 0x800000 },
  int32: { size: 4, read: (view, at) => view.getInt32(at, true) / 0x80000000 },
  float32: { size: 4, read: (view, at) => view.getFloat32(at, true) },
  float64: { size: 8, read: (view, at) => view.getFloat64(at, true) },
}

// Raw interleaved PCM to one channel's samples, full scale = 1. The door is `dsp/decode.ts`.

const INT16: i32 = 0
const INT24: i32 = 1
const INT32: i32 = 2
const FLOAT32: i32 = 3

/** What is not a number or infinite is read as silence; the rest is held within +96 dBFS so that filters stay finite. */
const LOUDEST: f64 = 65536

function finite(sample: f64): f64 {
  return sample - sample === 0 ? max(-LOUDEST, min(LOUDEST, sample)) : 0
}

/** Four words of 24 bits, `frameBytes` apart. Each is loaded with the byte before it, which is shifted out. */
function fourWords(at: usize, frameBytes: usize): v128 {
  const before = at - 1
  let words = i32x4.splat(load<i32>(before))
  words = i32x4.replace_lane(words, 1, load<i32>(before + frameBytes))
  words = i32x4.replace_lane(words, 2, load<i32>(before + 2 * frameBytes))
  words = i32x4.replace_lane(words, 3, load<i32>(before + 3 * frameBytes))
  return i32x4.shr_s(words, 8)
}

/** Decodes one channel; `first` is the address of its first sample, `frameBytes` the distance to the next one. */
export function decodeToFloat32(first: usize, frameBytes: i32, encoding: i32, frameCount: i32, out: usize): void {
  const end = out + ((<usize>frameCount) << 2)
  let at = first
  if (encoding === INT16) {
    for (; out < end; out += 4, at += frameBytes) store<f32>(out, <f32>load<i16>(at) / 32768)
  } else if (encoding === INT24) {
    const step = f32x4.splat(1.0 / 8388608)
    for (; out + 16 <= end; out += 16, at += 4 * frameBytes) {
      v128.store(out, f32x4.mul(f32x4.convert_i32x4_s(fourWords(at, frameBytes)), step))
    }
    for (; out < end; out += 4, at += frameBytes) {
      store<f32>(out, <f32>(<i32>load<u16>(at) | ((<i32>load<i8>(at, 2)) << 16)) / 8388608)
    }
  } else if (encoding === INT32) {
    for (; out < end; out += 4, at += frameBytes) store<f32>(out, <f32>(<f64>load<i32>(at) / 2147483648))
  } else if (encoding === FLOAT32) {
    for (; out < end; out += 4, at += frameBytes) store<f32>(out, <f32>finite(load<f32>(at)))
  } else {
    for (; out < end; out += 4, at += frameBytes) store<f32>(out, <f32>finite(load<f64>(at)))
  }
}

/** The same in double precision, for the words that single precision cannot hold. */
export function decodeToFloat64(first: usize, frameBytes: i32, encoding: i32, frameCount: i32, out: usize): void {
  const end = out + ((<usize>frameCount) << 3)
  let at = first
  if (encoding === INT16) {
    for (; out < end; out += 8, at += frameBytes) store<f64>(out, <f64>load<i16>(at) / 32768)
  } else if (encoding === INT24) {
    const step = f64x2.splat(1.0 / 8388608)
    for (; out + 32 <= end; out += 32, at += 4 * frameBytes) {
      const words = fourWords(at, frameBytes)
      v128.store(out, f64x2.mul(f64x2.convert_low_i32x4_s(words), step))
      v128.store(out, f64x2.mul(f64x2.convert_low_i32x4_s(i64x2.shuffle(words, words, 1, 1)), step), 16)
    }
    for (; out < end; out += 8, at += frameBytes) {
      store<f64>(out, <f64>(<i32>load<u16>(at) | ((<i32>load<i8>(at, 2)) << 16)) / 8388608)
    }
  } else if (encoding === INT32) {
    for (; out < end; out += 8, at += frameBytes) store<f64>(out, <f64>load<i32>(at) / 2147483648)
  } else if (encoding === FLOAT32) {
    for (; out < end; out += 8, at += frameBytes) store<f64>(out, finite(load<f32>(at)))
  } else {
    for (; out < end; out += 8, at += frameBytes) store<f64>(out, finite(load<f64>(at)))
  }
}

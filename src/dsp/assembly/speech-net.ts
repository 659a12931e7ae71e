// The network of the speech detector: short spectra, four convolutions, one recurrent layer, one probability for each
// 512 samples at 16 kHz. The door, which also packs the weights, is `dsp/speech-net.ts`.
//
// Every layer but the recurrent one looks at one chunk alone, so it is one matrix product over all chunks of a block.
// Weights lie in panels of eight outputs, `[panel][input][8]`; activations lie `[chunk][position][channel]`.

const FLOAT: usize = 4
const CHUNK_SAMPLES: i32 = 512
const FRAME_SAMPLES: i32 = 256
const FRAME_STEP: i32 = 128
/** Samples of the last frame before the reflection that the network pads with: it is folded into the weights. */
const LAST_FRAME_SAMPLES: i32 = 192
/** 129 magnitudes, padded to whole panels. */
const BINS: i32 = 136
const FRAMES: i32 = 4
const STATE: i32 = 128
const GATES: i32 = 4 * STATE
/** Chunks of one block: what a block needs stays in the processor's second cache. */
const BLOCK: i32 = 32

/** Places in the packed weights, in floats. They must follow `packSpeechWeights` of the door. */
const SPECTRUM: i32 = 0
const LAST_SPECTRUM: i32 = SPECTRUM + FRAME_SAMPLES * 2 * BINS
const FIRST: i32 = LAST_SPECTRUM + LAST_FRAME_SAMPLES * 2 * BINS
const FIRST_BIAS: i32 = FIRST + 3 * BINS * 128
const SECOND: i32 = FIRST_BIAS + 128
const SECOND_BIAS: i32 = SECOND + 3 * 128 * 64
const THIRD: i32 = SECOND_BIAS + 64
const THIRD_BIAS: i32 = THIRD + 2 * 64 * 64
const FOURTH: i32 = THIRD_BIAS + 64
const FOURTH_BIAS: i32 = FOURTH + 64 * 128
const INPUT_GATES: i32 = FOURTH_BIAS + 128
const GATE_BIAS: i32 = INPUT_GATES + STATE * GATES
const STATE_GATES: i32 = GATE_BIAS + GATES
const OUTPUT: i32 = STATE_GATES + STATE * GATES
const OUTPUT_BIAS: i32 = OUTPUT + STATE

/** Places in the working memory, in floats. */
const BINS_AT: i32 = 0
const SPECTRA_AT: i32 = BINS_AT + BLOCK * FRAMES * BINS
const FIRST_AT: i32 = SPECTRA_AT + BLOCK * 2 * BINS
const SECOND_AT: i32 = FIRST_AT + BLOCK * FRAMES * 128
const THIRD_AT: i32 = SECOND_AT + BLOCK * 2 * 64
const FOURTH_AT: i32 = THIRD_AT + BLOCK * 64
const GATES_AT: i32 = FOURTH_AT + BLOCK * 128
const STATE_AT: i32 = GATES_AT + GATES
const WORK_FLOATS: i32 = STATE_AT + 2 * STATE

/** Bytes of working memory that both steps below need. */
export function speechWorkBytes(): i32 {
  return WORK_FLOATS << 2
}

function place(base: usize, floats: i32): usize {
  return base + <usize>floats * FLOAT
}

/**
 * y[row][m] = bias[m] + sum over k of x[row][k] * w[k][m], four rows and one panel of eight outputs at a time.
 * `rows` is a multiple of 4; `bias` 0 means none; `rectifies` sets negative sums to 0.
 */
function multiply(
  x: usize,
  xRow: i32,
  w: usize,
  panelFloats: i32,
  inputs: i32,
  bias: usize,
  y: usize,
  yRow: i32,
  rows: i32,
  outputs: i32,
  rectifies: bool,
): void {
  const xStep = <usize>xRow * FLOAT
  const yStep = <usize>yRow * FLOAT
  const zero = f32x4.splat(0)
  for (let m = 0; m < outputs; m += 8) {
    const low = bias === 0 ? zero : v128.load(place(bias, m))
    const high = bias === 0 ? zero : v128.load(place(bias, m), 16)
    const panel = w + <usize>(m >> 3) * <usize>panelFloats * FLOAT
    const panelEnd = panel + <usize>inputs * 32
    for (let row = 0; row < rows; row += 4) {
      let x0 = x + <usize>row * xStep
      let x1 = x0 + xStep
      let x2 = x1 + xStep
      let x3 = x2 + xStep
      let a0 = low
      let a1 = low
      let a2 = low
      let a3 = low
      let b0 = high
      let b1 = high
      let b2 = high
      let b3 = high
      for (let at = panel; at < panelEnd; at += 32) {
        const wa = v128.load(at)
        const wb = v128.load(at, 16)
        const s0 = v128.load32_splat(x0)
        a0 = f32x4.add(a0, f32x4.mul(s0, wa))
        b0 = f32x4.add(b0, f32x4.mul(s0, wb))
        const s1 = v128.load32_splat(x1)
        a1 = f32x4.add(a1, f32x4.mul(s1, wa))
        b1 = f32x4.add(b1, f32x4.mul(s1, wb))
        const s2 = v128.load32_splat(x2)
        a2 = f32x4.add(a2, f32x4.mul(s2, wa))
        b2 = f32x4.add(b2, f32x4.mul(s2, wb))
        const s3 = v128.load32_splat(x3)
        a3 = f32x4.add(a3, f32x4.mul(s3, wa))
        b3 = f32x4.add(b3, f32x4.mul(s3, wb))
        x0 += FLOAT
        x1 += FLOAT
        x2 += FLOAT
        x3 += FLOAT
      }
      if (rectifies) {
        a0 = f32x4.max(a0, zero)
        a1 = f32x4.max(a1, zero)
        a2 = f32x4.max(a2, zero)
        a3 = f32x4.max(a3, zero)
        b0 = f32x4.max(b0, zero)
        b1 = f32x4.max(b1, zero)
        b2 = f32x4.max(b2, zero)
        b3 = f32x4.max(b3, zero)
      }
      let out = y + <usize>row * yStep + <usize>m * FLOAT
      v128.store(out, a0)
      v128.store(out, b0, 16)
      out += yStep
      v128.store(out, a1)
      v128.store(out, b1, 16)
      out += yStep
      v128.store(out, a2)
      v128.store(out, b2, 16)
      out += yStep
      v128.store(out, a3)
      v128.store(out, b3, 16)
    }
  }
}

/** Magnitudes of the four frames of every chunk. `x` is 64 samples before the first chunk. */
function magnitudes(x: usize, weights: usize, work: usize, rows: i32): void {
  const spectra = place(work, SPECTRA_AT)
  for (let frame = 0; frame < FRAMES; frame++) {
    const isLast = frame === FRAMES - 1
    const inputs = isLast ? LAST_FRAME_SAMPLES : FRAME_SAMPLES
    const w = place(weights, isLast ? LAST_SPECTRUM : SPECTRUM)
    const from = place(x, frame * FRAME_STEP)
    multiply(from, CHUNK_SAMPLES, w, inputs * 8, inputs, 0, spectra, 2 * BINS, rows, 2 * BINS, false)
    for (let row = 0; row < rows; row++) {
      const spectrum = place(spectra, row * 2 * BINS)
      const out = place(work, BINS_AT + (row * FRAMES + frame) * BINS)
      for (let bin = 0; bin < BINS; bin += 4) {
        const re = v128.load(place(spectrum, bin))
        const im = v128.load(place(spectrum, bin + BINS))
        v128.store(place(out, bin), f32x4.sqrt(f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im))))
      }
    }
  }
}

/** The four convolutions of every chunk, each three frames wide; frames outside a chunk are zero and left out. */
function encode(weights: usize, work: usize, rows: i32): void {
  const bins = place(work, BINS_AT)
  const first = place(work, FIRST_AT)
  const second = place(work, SECOND_AT)
  const third = place(work, THIRD_AT)
  for (let frame = 0; frame < FRAMES; frame++) {
    const from = max(0, frame - 1)
    const width = min(FRAMES, frame + 2) - from
    const skipped = from - (frame - 1)
    const w = place(weights, FIRST + skipped * BINS * 8)
    const bias = place(weights, FIRST_BIAS)
    const out = place(first, frame * 128)
    multiply(place(bins, from * BINS), FRAMES * BINS, w, 3 * BINS * 8, width * BINS, bias, out, 512, rows, 128, true)
  }
  const bias = place(weights, SECOND_BIAS)
  const skipped = place(weights, SECOND + 128 * 8)
  multiply(first, 512, skipped, 3 * 128 * 8, 2 * 128, bias, second, 128, rows, 64, true)
  const later = place(first, 128)
  multiply(later, 512, place(weights, SECOND), 3 * 128 * 8, 3 * 128, bias, place(second, 64), 128, rows, 64, true)
  const thirdBias = place(weights, THIRD_BIAS)
  multiply(second, 128, place(weights, THIRD), 128 * 8, 128, thirdBias, third, 64, rows, 64, true)
  const fourth = place(work, FOURTH_AT)
  multiply(third, 64, place(weights, FOURTH), 64 * 8, 64, place(weights, FOURTH_BIAS), fourth, 128, rows, 128, true)
}

function sigmoid(x: f32): f32 {
  return <f32>1 / (<f32>1 + Mathf.exp(-x))
}

function tanh(x: f32): f32 {
  return <f32>1 - <f32>2 / (<f32>1 + Mathf.exp(<f32>2 * x))
}

/** Writes the gates of one chunk: what its encoding said, and what the state says. */
function addState(encoded: usize, state: usize, weights: usize, gates: usize): void {
  for (let m = 0; m < GATES; m += 16) {
    const left = place(weights, STATE_GATES + m * STATE)
    const right = left + STATE * 32
    let a = v128.load(place(encoded, m))
    let b = v128.load(place(encoded, m), 16)
    let c = v128.load(place(encoded, m), 32)
    let d = v128.load(place(encoded, m), 48)
    for (let k: usize = 0; k < <usize>STATE; k++) {
      const s = v128.load32_splat(state + k * FLOAT)
      a = f32x4.add(a, f32x4.mul(s, v128.load(left + k * 32)))
      b = f32x4.add(b, f32x4.mul(s, v128.load(left + k * 32, 16)))
      c = f32x4.add(c, f32x4.mul(s, v128.load(right + k * 32)))
      d = f32x4.add(d, f32x4.mul(s, v128.load(right + k * 32, 16)))
    }
    v128.store(place(gates, m), a)
    v128.store(place(gates, m), b, 16)
    v128.store(place(gates, m), c, 32)
    v128.store(place(gates, m), d, 48)
  }
}

/** One step of the recurrent layer and the probability that follows from it. Gates: input, forget, cell, output. */
function step(encoded: usize, state: usize, weights: usize, gates: usize): f32 {
  addState(encoded, state, weights, gates)
  const cell = place(state, STATE)
  let sum = load<f32>(place(weights, OUTPUT_BIAS))
  for (let i = 0; i < STATE; i++) {
    const input = sigmoid(load<f32>(place(gates, i)))
    const forget = sigmoid(load<f32>(place(gates, i + STATE)))
    const candidate = tanh(load<f32>(place(gates, i + 2 * STATE)))
    const output = sigmoid(load<f32>(place(gates, i + 3 * STATE)))
    const kept = forget * load<f32>(place(cell, i)) + input * candidate
    store<f32>(place(cell, i), kept)
    const told = output * tanh(kept)
    store<f32>(place(state, i), told)
    sum += max(told, <f32>0) * load<f32>(place(weights, OUTPUT + i))
  }
  return sigmoid(sum)
}

/**
 * Writes what the recurrent layer gets of each of `chunks` chunks, 512 floats each. `x` is the address of the 64 samples
 * before the first one; behind the last one three chunks more must be readable, and four more are written.
 */
export function encodeSpeech(x: usize, chunks: i32, weights: usize, work: usize, encoded: usize): void {
  for (let done = 0; done < chunks; done += BLOCK) {
    const rows = (min(BLOCK, chunks - done) + 3) & ~3
    magnitudes(place(x, done * CHUNK_SAMPLES), weights, work, rows)
    encode(weights, work, rows)
    const features = place(work, FOURTH_AT)
    const bias = place(weights, GATE_BIAS)
    const out = place(encoded, done * GATES)
    multiply(features, 128, place(weights, INPUT_GATES), STATE * 8, STATE, bias, out, GATES, rows, GATES, false)
  }
}

/** Runs the recurrent layer over chunks [from, to), from a fresh state on, and writes the probability of each. */
export function followSpeech(
  encoded: usize,
  from: i32,
  to: i32,
  weights: usize,
  work: usize,
  probabilities: usize,
): void {
  const state = place(work, STATE_AT)
  memory.fill(state, 0, <usize>(2 * STATE) * FLOAT)
  for (let chunk = from; chunk < to; chunk++) {
    const probability = step(place(encoded, chunk * GATES), state, weights, place(work, GATES_AT))
    store<f32>(place(probabilities, chunk), probability)
  }
}

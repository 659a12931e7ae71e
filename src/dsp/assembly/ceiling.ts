// The true-peak ceiling: detection on gained lines, and the shaping of the gain. The door is `dsp/ceiling.ts`.
// A line is one linked signal of a chunk in single precision, with context frames before and after.

/** Frames that are detected or skipped together. */
const BLOCK: i32 = 64
const BLOCK_SHIFT: i32 = 6

/** Required gains are whole numbers of this, so that sums over them are exact wherever they start. */
const UNITY: i32 = 1073741824

/** gains[i] = common[i] x ceiling[i] in single precision; up to three numbers past the end are written too. */
export function gainsOfLine(gains: usize, common: usize, ceiling: usize, count: i32): void {
  const end = gains + ((<usize>count) << 2)
  for (; gains < end; gains += 16, common += 32, ceiling += 32) {
    const low = f64x2.mul(v128.load(common), v128.load(ceiling))
    const high = f64x2.mul(v128.load(common, 16), v128.load(ceiling, 16))
    v128.store(gains, i64x2.shuffle(f32x4.demote_f64x2_zero(low), f32x4.demote_f64x2_zero(high), 0, 2))
  }
}

/**
 * line[i] = plane[i] x gains[i] in single precision, and the highest magnitude of them. A plane is float64 if
 * `isWide`; it holds silence for at least three frames past the end, and so does the line then.
 */
export function gainedLine(line: usize, plane: usize, isWide: i32, gains: usize, count: i32): f32 {
  const end = line + ((<usize>count) << 2)
  let peaks = f32x4.splat(0)
  if (isWide) {
    for (; line < end; line += 16, gains += 16, plane += 32) {
      const low = f32x4.demote_f64x2_zero(v128.load(plane))
      const high = f32x4.demote_f64x2_zero(v128.load(plane, 16))
      const samples = f32x4.mul(i64x2.shuffle(low, high, 0, 2), v128.load(gains))
      v128.store(line, samples)
      peaks = f32x4.pmax(peaks, f32x4.abs(samples))
    }
  } else {
    for (; line < end; line += 16, gains += 16, plane += 16) {
      const samples = f32x4.mul(v128.load(plane), v128.load(gains))
      v128.store(line, samples)
      peaks = f32x4.pmax(peaks, f32x4.abs(samples))
    }
  }
  return highestLane(peaks)
}

/** mix[i] = weight x line[i], or with `adds` mix[i] += weight x line[i]; gives back the highest magnitude. */
export function mixLine(mix: usize, line: usize, weight: f32, count: i32, adds: i32): f32 {
  const end = mix + ((<usize>count) << 2)
  const weights = f32x4.splat(weight)
  let peaks = f32x4.splat(0)
  for (; mix < end; mix += 16, line += 16) {
    let samples = f32x4.mul(v128.load(line), weights)
    if (adds) samples = f32x4.add(samples, v128.load(mix))
    v128.store(mix, samples)
    peaks = f32x4.pmax(peaks, f32x4.abs(samples))
  }
  return highestLane(peaks)
}

function highestLane(lanes: v128): f32 {
  return max(
    max(f32x4.extract_lane(lanes, 0), f32x4.extract_lane(lanes, 1)),
    max(f32x4.extract_lane(lanes, 2), f32x4.extract_lane(lanes, 3)),
  )
}

/** Of each block of a line: the highest magnitude, and the highest second difference x[k-1] - 2 x[k] + x[k+1]. */
export function blockBounds(line: usize, blockCount: i32, peaks: usize, bends: usize): void {
  const two = f32x4.splat(2)
  for (let block = 0; block < blockCount; block++) {
    let peak = f32x4.splat(0)
    let bend = f32x4.splat(0)
    const end = line + (BLOCK << 2)
    for (; line < end; line += 16) {
      const samples = v128.load(line)
      const outer = f32x4.add(v128.load(line - 4), v128.load(line, 4))
      peak = f32x4.pmax(peak, f32x4.abs(samples))
      bend = f32x4.pmax(bend, f32x4.abs(f32x4.sub(outer, f32x4.mul(two, samples))))
    }
    store<f32>(peaks + ((<usize>block) << 2), highestLane(peak))
    store<f32>(bends + ((<usize>block) << 2), highestLane(bend))
  }
}

/** at[k] = max(at[k], |line[k]|) over one block. */
export function samplePeaksOfBlock(line: usize, at: usize): void {
  const end = at + (BLOCK << 2)
  for (; at < end; at += 16, line += 16) v128.store(at, f32x4.pmax(v128.load(at), f32x4.abs(v128.load(line))))
}

/**
 * between[k] = max(between[k], highest interpolated magnitude between frames k and k + 1) over one block.
 * An interpolator is a list of pairs of mirrored phases: with s = x[k-t] + x[k+1+t], d = x[k-t] - x[k+1+t] the two
 * phases are A + B and A - B, A = sum e s, B = sum o d, and the higher magnitude of the two is |A| + |B|.
 * Table: for each couple of pairs, for t = 0 .. tapsPerSide - 1, the four numbers e0 o0 e1 o1.
 */
export function interpolateBlock(line: usize, between: usize, table: usize, couples: i32, tapsPerSide: i32): void {
  const end = between + (BLOCK << 2)
  for (; between < end; between += 32, line += 32) {
    let highest0 = v128.load(between)
    let highest1 = v128.load(between, 16)
    let tap = table
    for (let couple = 0; couple < couples; couple++) {
      let even00 = f32x4.splat(0)
      let even01 = f32x4.splat(0)
      let odd00 = f32x4.splat(0)
      let odd01 = f32x4.splat(0)
      let even10 = f32x4.splat(0)
      let even11 = f32x4.splat(0)
      let odd10 = f32x4.splat(0)
      let odd11 = f32x4.splat(0)
      let left = line
      let right = line + 4
      for (let t = 0; t < tapsPerSide; t++, left -= 4, right += 4, tap += 16) {
        const left0 = v128.load(left)
        const left1 = v128.load(left, 16)
        const right0 = v128.load(right)
        const right1 = v128.load(right, 16)
        const sum0 = f32x4.add(left0, right0)
        const sum1 = f32x4.add(left1, right1)
        const difference0 = f32x4.sub(left0, right0)
        const difference1 = f32x4.sub(left1, right1)
        let tapOfPair = v128.load32_splat(tap)
        even00 = f32x4.add(even00, f32x4.mul(tapOfPair, sum0))
        even01 = f32x4.add(even01, f32x4.mul(tapOfPair, sum1))
        tapOfPair = v128.load32_splat(tap, 4)
        odd00 = f32x4.add(odd00, f32x4.mul(tapOfPair, difference0))
        odd01 = f32x4.add(odd01, f32x4.mul(tapOfPair, difference1))
        tapOfPair = v128.load32_splat(tap, 8)
        even10 = f32x4.add(even10, f32x4.mul(tapOfPair, sum0))
        even11 = f32x4.add(even11, f32x4.mul(tapOfPair, sum1))
        tapOfPair = v128.load32_splat(tap, 12)
        odd10 = f32x4.add(odd10, f32x4.mul(tapOfPair, difference0))
        odd11 = f32x4.add(odd11, f32x4.mul(tapOfPair, difference1))
      }
      highest0 = f32x4.pmax(highest0, f32x4.add(f32x4.abs(even00), f32x4.abs(odd00)))
      highest1 = f32x4.pmax(highest1, f32x4.add(f32x4.abs(even01), f32x4.abs(odd01)))
      highest0 = f32x4.pmax(highest0, f32x4.add(f32x4.abs(even10), f32x4.abs(odd10)))
      highest1 = f32x4.pmax(highest1, f32x4.add(f32x4.abs(even11), f32x4.abs(odd11)))
    }
    v128.store(between, highest0)
    v128.store(between, highest1, 16)
  }
}

/**
 * Turns the peaks of one block into the gain that each frame requires, in units of 2^-30, and gives back the lowest:
 * aim / peak where the peak is above `above`, else unity. What was found between two frames is asked of both;
 * between[-1] is therefore read too.
 */
export function requiredGains(at: usize, between: usize, above: f32, aim: f32, required: usize): i32 {
  const end = at + (BLOCK << 2)
  const limits = f32x4.splat(above)
  const aims = f32x4.splat(aim)
  const unity = f32x4.splat(<f32>UNITY)
  let lowest = i32x4.splat(UNITY)
  for (; at < end; at += 16, between += 16, required += 16) {
    const peaks = f32x4.pmax(v128.load(at), f32x4.pmax(v128.load(between - 4), v128.load(between)))
    const gains = v128.bitselect(f32x4.div(aims, peaks), f32x4.splat(1), f32x4.gt(peaks, limits))
    const whole = i32x4.trunc_sat_f32x4_s(f32x4.mul(gains, unity))
    lowest = i32x4.min_s(lowest, whole)
    v128.store(required, whole)
  }
  return min(
    min(i32x4.extract_lane(lowest, 0), i32x4.extract_lane(lowest, 1)),
    min(i32x4.extract_lane(lowest, 2), i32x4.extract_lane(lowest, 3)),
  )
}

function firstTrigger(blockMinima: usize, block: i32, blockCount: i32): i32 {
  for (; block < blockCount; block++) if (load<i32>(blockMinima + ((<usize>block) << 2)) < UNITY) return block
  return -1
}

/**
 * Multiplies into `gain` the smooth curve that never exceeds what any frame requires:
 * sliding minimum over [-reach - hold, reach] -> rise by at most the factor `rise` a frame -> three box means that
 * together span [-reach, reach]. Frames at rest are not visited. `touched` gets 1 for every block that was changed.
 *
 * `required` is read only in blocks whose minimum is below unity. Box lengths: box1 + box2 + box3 = 2 reach + 3.
 * Scratch: `queue` holds 2 x (2 reach + hold + 2) i32, `rings` holds box1 + box2 + box3 i64.
 * The sums are whole numbers, and the rise forgets everything once it is overtaken: two runs that start at different
 * frames agree bit for bit as soon as both have come to rest or met the same requirement.
 */
export function shapeGain(
  required: usize,
  blockMinima: usize,
  blockCount: i32,
  frameCount: i32,
  gain: usize,
  touched: usize,
  reach: i32,
  hold: i32,
  rise: f64,
  box1: i32,
  box2: i32,
  box3: i32,
  queue: usize,
  rings: usize,
): i32 {
  const capacity = 2 * reach + hold + 2
  const queueFrames = queue + ((<usize>capacity) << 2)
  const ring1 = rings
  const ring2 = ring1 + ((<usize>box1) << 3)
  const ring3 = ring2 + ((<usize>box2) << 3)
  const full1 = <i64>box1 * UNITY
  const full2 = full1 * box2
  const full3 = full2 * box3
  for (let i = 0; i < box1; i++) store<i64>(ring1 + ((<usize>i) << 3), UNITY)
  for (let i = 0; i < box2; i++) store<i64>(ring2 + ((<usize>i) << 3), full1)
  for (let i = 0; i < box3; i++) store<i64>(ring3 + ((<usize>i) << 3), full2)
  let sum1 = full1
  let sum2 = full2
  let sum3 = full3
  let at1 = 0
  let at2 = 0
  let at3 = 0
  let head = 0
  let length = 0
  let held: f64 = UNITY
  let changed = 0
  let block = firstTrigger(blockMinima, 0, blockCount)
  while (block >= 0) {
    let frame = (block << BLOCK_SHIFT) - reach
    for (; frame - reach < frameCount; frame++) {
      const ahead = frame + reach
      if (ahead < frameCount && load<i32>(blockMinima + ((<usize>(ahead >> BLOCK_SHIFT)) << 2)) < UNITY) {
        const need = load<i32>(required + ((<usize>ahead) << 2))
        if (need < UNITY) {
          while (length > 0) {
            let last = head + length - 1
            if (last >= capacity) last -= capacity
            if (load<i32>(queue + ((<usize>last) << 2)) < need) break
            length--
          }
          let next = head + length
          if (next >= capacity) next -= capacity
          store<i32>(queue + ((<usize>next) << 2), need)
          store<i32>(queueFrames + ((<usize>next) << 2), ahead)
          length++
        }
      }
      if (length > 0 && load<i32>(queueFrames + ((<usize>head) << 2)) < frame - reach - hold) {
        if (++head === capacity) head = 0
        length--
      }
      const target: f64 = length > 0 ? load<i32>(queue + ((<usize>head) << 2)) : UNITY
      held = min(target, held * rise)
      const low = <i64>held
      sum1 += low - load<i64>(ring1 + ((<usize>at1) << 3))
      store<i64>(ring1 + ((<usize>at1) << 3), low)
      if (++at1 === box1) at1 = 0
      sum2 += sum1 - load<i64>(ring2 + ((<usize>at2) << 3))
      store<i64>(ring2 + ((<usize>at2) << 3), sum1)
      if (++at2 === box2) at2 = 0
      sum3 += sum2 - load<i64>(ring3 + ((<usize>at3) << 3))
      store<i64>(ring3 + ((<usize>at3) << 3), sum2)
      if (++at3 === box3) at3 = 0
      const out = frame - reach
      if (sum3 !== full3) {
        if (out >= 0) {
          const address = gain + ((<usize>out) << 3)
          store<f64>(address, load<f64>(address) * (<f64>sum3 / <f64>full3))
          store<u8>(touched + <usize>(out >> BLOCK_SHIFT), 1)
          changed++
        }
      } else if (length === 0) {
        const next = firstTrigger(blockMinima, (ahead + 1) >> BLOCK_SHIFT, blockCount)
        if (next < 0) return changed
        if ((ahead + 1) >> BLOCK_SHIFT !== next) frame = (next << BLOCK_SHIFT) - reach - 1
      }
    }
    block = -1
  }
  return changed
}

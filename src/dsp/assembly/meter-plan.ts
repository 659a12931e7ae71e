// Where everything of one measurement lies in memory. Lane frames: L R | C LFE | Ls Rs | Lrs Rrs | Lo Ro, float64, full
// scale = 1, two lanes a vector; a layout without a channel leaves its lane at 0, mono and 2.0 have the first pair alone.

/** Frames worked on at once: small enough that a quiet block is skipped alone in the search for the true peak. */
export const BLOCK: i32 = 96

/** Frames kept before a block; interpolation needs 11, twelve keep its vectors aligned. */
export const HISTORY: i32 = 12

export const SAMPLE: i32 = 8
export const PAIR: i32 = 16
export const MOST_PAIRS: i32 = 5

/** Filter memory of one pair: two vectors of the shelf, two of the high-pass. */
export const STATE: i32 = 4 * PAIR

/** The table of peaks: of every lane the sample peak, then its frame, the true peak, its frame. */
export const SAMPLE_PEAK_FRAMES: usize = MOST_PAIRS * PAIR
export const TRUE_PEAKS: usize = 2 * SAMPLE_PEAK_FRAMES
export const TRUE_PEAK_FRAMES: usize = 3 * SAMPLE_PEAK_FRAMES
export const PEAKS_BYTES: usize = 4 * SAMPLE_PEAK_FRAMES

/** Fold-down coefficient k among the coefficients, after shelf g1 g2 a1 a2 and high-pass e2 f. */
export const FOLD_DOWN_K: usize = 96

/** Order of the encodings; planar float64 comes last. */
export const INT16: i32 = 0
export const INT24: i32 = 1
export const INT32: i32 = 2
export const FLOAT32: i32 = 3
export const FLOAT64: i32 = 4

/** Lies at the address that every function is given; the offsets below lie behind it. */
export class MeterPlan {
  encoding: i32
  channelCount: i32
  channelPairs: i32
  laneBytes: i32
  sourceFrameBytes: i32
  planeBytes: i32
  fineHopFrames: i32
  hopFrames: i32
  framesInFineHop: i32
  framesInHop: i32
  /** Frames counted so far. */
  frame: f64
  coefficients: usize
  taps: usize
  peaks: usize
  energyTable: usize
  peakTable: usize
  /** 0 where the true peaks of every 100 ms are not wanted. */
  truePeakTable: usize
  /** Next free row of each table. */
  energyRow: usize
  peakRow: usize
  truePeakRow: usize
  /** Where the PCM of the 100 ms under way begins. */
  hopSource: usize
  blocksInHop: i32
  /** Of the block under way. */
  note: usize
  /** The note whose block was decoded again last, and of which pair; 0 if none. */
  decodedNote: usize
  decodedPair: i32
}

/** A note: where its block starts in the 100 ms and how many frames it has, then what its points are made of. */
export const NOTE_PEAKS: usize = 16
export const NOTE_CURVES: usize = NOTE_PEAKS + MOST_PAIRS * PAIR
export const NOTE: i32 = 16 + 2 * MOST_PAIRS * PAIR

const PLAN_BYTES: usize = 160
export const STATES: usize = PLAN_BYTES
export const ENERGIES: usize = STATES + MOST_PAIRS * STATE
export const BLOCK_PEAKS: usize = ENERGIES + MOST_PAIRS * PAIR
/** Highest |sample| of the frames kept before the block. */
export const PAST_PEAKS: usize = BLOCK_PEAKS + MOST_PAIRS * PAIR
export const HOP_PEAKS: usize = PAST_PEAKS + MOST_PAIRS * PAIR
/** Float32 samples of one lane with their history, and room for a group more. */
export const SAMPLES: usize = HOP_PEAKS + MOST_PAIRS * PAIR
const PAST: usize = SAMPLES + (HISTORY + BLOCK + 16) * 4
/** Lane frames of the block; its history lies before it. */
export const LANES: usize = PAST + HISTORY * MOST_PAIRS * PAIR
/** Lane frames before the first frame of the 100 ms under way. */
export const HOP_PAST: usize = LANES + BLOCK * MOST_PAIRS * PAIR
/** One block of the 100 ms with its past, decoded again. */
export const AGAIN: usize = HOP_PAST + HISTORY * MOST_PAIRS * PAIR
/** The notes of the blocks of the 100 ms: the most are those of 192 kHz, and one for what rings out at the end. */
export const NOTES: usize = AGAIN + (HISTORY + BLOCK) * MOST_PAIRS * PAIR
const MOST_BLOCKS_IN_HOP: i32 = 201
export const MEMORY_BYTES: usize = NOTES + MOST_BLOCKS_IN_HOP * NOTE

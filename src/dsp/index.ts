export {
  type BandStretch,
  bandMarginFrames,
  bandProducts,
  bandSquares,
  PRODUCTS_PER_HOP,
  treatBands,
} from './bands.ts'
export {
  keepBelowCeiling,
  type LinkedSignal,
} from './ceiling.ts'
export { decodeChannel, needsWidePlane, type Plane, takePlane } from './decode.ts'
export { FourierTransform } from './fft.ts'
export { Differences, highestOfSum, packSum, QuarterTurn, sumPlanes } from './fold.ts'
export { holdUnityOutside, multiplyGains, takeGain, writeGain } from './gain.ts'
export { KLoudness } from './k-loudness.ts'
export { Arena, type KernelExports, type Kernels, kernelMemoryBytes, MODULE_BYTES } from './kernels.ts'
export { MWeightedEnergy } from './leq-m.ts'
export { LivePeak } from './live-peak.ts'
export { deriveMatrixFronts, writeMatrixFronts } from './matrix-fronts.ts'
export { Meter, type MeterInput, type MeterShape } from './meter.ts'
export { OctavePowers } from './octave-powers.ts'
export { type BinGroups, type BinRange, type CrossSums, type Pair, PairSpectrum, PRODUCT_BINS } from './pair-spectra.ts'
export { LinearPrediction, takeSamples } from './prediction.ts'
export { resampleForSpeech, resamplerShape } from './resample.ts'
export { SHIFT_REACH, writeShifted } from './shift.ts'
export {
  packSpeechWeights,
  SPEECH_CHUNK_SAMPLES,
  SPEECH_LEAD_CHUNKS,
  speechProbabilities,
  takeSpeechSignal,
} from './speech-net.ts'
export { TRUE_PEAK_PHASES } from './true-peak.ts'
export { forEachChange, momentsOf } from './two-tracks.ts'
export { type Extracted, extract, type Tracks, writeFronts } from './upmix.ts'
export { upmixHopFrames } from './upmix-geometry.ts'
export { feedsLfe } from './upmix-shape.ts'
export { bandPowers } from './upmix-watch.ts'
export {
  type DitherRule,
  deriveFronts,
  type FrontLines,
  foldWords,
  packFrames,
  packWords,
  quantise,
  takeWordLine,
  type WordEncoding,
  wordLineFrames,
} from './words.ts'

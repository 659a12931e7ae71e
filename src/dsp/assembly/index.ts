// The one entry point of the compiled kernels. Each kernel is a file of its own with a door of the same stem in `dsp/`.

/** Raised whenever the meaning of an exported function changes, so that a stale build is noticed. */
export function abiVersion(): i32 {
  return 1
}

export * from './fft'
export * from './upmix-align'
export * from './upmix-onsets'
export * from './upmix-planes'
export * from './upmix-spectra'
export * from './upmix-weights'
export * from './bands'
export * from './zero-phase'
export * from './ceiling'
export * from './decode'
export * from './fold'
export * from './gain'
export * from './leq-m'
export * from './matrix'
export * from './meter'
export * from './pair-spectra'
export * from './prediction'
export * from './words'
export * from './resample'
export * from './speech-net'
export * from './two-tracks'

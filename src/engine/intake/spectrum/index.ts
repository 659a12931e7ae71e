import type { ChannelSpectrum } from '../../../domain/index.ts'
import type { Detector } from '../detector.ts'
import { concludeSpectrum } from './conclude.ts'
import type { SpectrumEvidence } from './evidence.ts'
import { observeSpectrum } from './observe.ts'

export { bandLimitOf } from './band-limit.ts'
export { observeBands } from './observe.ts'

/** What the spectrum of each channel tells of its past: hum, band limit, hiss, a television's whistle. */
export const spectrumDetector: Detector<SpectrumEvidence, readonly ChannelSpectrum[]> = {
  observe: observeSpectrum,
  conclude: concludeSpectrum,
}

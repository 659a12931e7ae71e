import { type DeliverySpec, type FitSettings, roundToGainStep } from '../../domain/index.ts'
import { anchorOf, type FitSource } from './fit-source.ts'

/** With `auto` settled: one gain for both files, or a constant of its own for the stereo. */
export type SettledFit = FitSettings & { readonly stereoGain: 'linked' | 'own' }

/** A stereo that would stand nearer to its bound than this gets a gain of its own: a ride may move the offset a little. */
const ROOM_LU = 0.05

/**
 * Settles `stereoGain: auto`: one gain while both files stay inside the tolerance with it, else a constant for the stereo.
 * @source docs/decisions/0016
 */
export function settleStereoGain(source: FitSource, spec: DeliverySpec, settings: FitSettings): SettledFit {
  if (settings.stereoGain !== 'auto') return { ...settings, stereoGain: settings.stereoGain }
  const offsetLu = stereoOffset(source)
  const { toleranceBelowLu, toleranceAboveLu } = spec.programmeLoudness
  // Balanced, each file stands off the target by half the offset, to either side.
  const fits =
    settings.anchor === 'balanced'
      ? Math.abs(offsetLu) / 2 <= Math.min(toleranceBelowLu, toleranceAboveLu) - ROOM_LU
      : offsetLu >= ROOM_LU - toleranceBelowLu && offsetLu <= toleranceAboveLu - ROOM_LU
  return { ...settings, stereoGain: fits ? 'linked' : 'own' }
}

/** The constant that brings the fold-down to the reading of the mix. */
export function ownStereoGain(source: FitSource): number {
  return roundToGainStep(-stereoOffset(source))
}

/** By how much the fold-down reads above the mix; 0 where there is none, or nothing passes the gate. */
function stereoOffset(source: FitSource): number {
  const { measured } = source
  if (measured.foldDown10ms === null) return 0
  const total = anchorOf(measured.programme10ms, source)
  const foldDownTotal = anchorOf(measured.foldDown10ms, source)
  return total === null || foldDownTotal === null ? 0 : foldDownTotal - total
}

import type { FaultReport } from './faults.ts'
import type { Roles } from './roles.ts'
import type { ChannelSpectrum } from './spectrum.ts'
import type { Structure } from './structure.ts'
import type { TwoTrackReport } from './two-track.ts'

/** What a file really is, and what is wrong with it. */
export type Inspection = {
  readonly structure: Structure
  readonly faults: FaultReport
  /** Of layout 2.0; null of others. */
  readonly twoTrack: TwoTrackReport | null
  /** In channel order. */
  readonly spectrum: readonly ChannelSpectrum[]
  /** Of multichannel layouts; null of others. */
  readonly roles: Roles | null
}

import type {
  Clock,
  DeliveredFile,
  DeliveryReport,
  DeliverySpec,
  Finding,
  FitSettings,
  FrameRange,
  MixerGain,
  SpeechLane,
  UpmixPlan,
} from '../domain/index.ts'
import type { ProgrammeShape } from './by-segment.ts'
import type { Decision, Lock, RideLimit } from './decide/index.ts'

/** Everything that decides the bytes of a delivery, and what the report says of its origin. */
export type DeliveryOrder = {
  readonly tool: { readonly version: string; readonly kernelsSha256: string }
  readonly title: { readonly id: string; readonly name: string; readonly language?: string }
  readonly source: ProgrammeShape & {
    /** File name, without folders. */
    readonly path: string
    readonly sha256: Promise<string>
    /** The date that the sheet gives, else that of the file. */
    readonly originatedOn: string | null
    readonly startOfDaySeconds: number | null
    readonly clock?: Clock | undefined
    /** What is odd about the file itself. */
    readonly findings: readonly Finding[]
  }
  readonly spec: DeliverySpec
  /** Null: the source keeps its layout. */
  readonly upmix: UpmixPlan | null
  readonly fit: FitSettings
  /** Gains that the mixer put on stretches, and stretches where the ride may do no more than the mixer allows. */
  readonly trims: readonly MixerGain[]
  readonly locks: readonly Lock[]
  readonly limits: readonly RideLimit[]
  /** The stretches that are measured and fitted, in order; everything else stays as it is. Absent: all of it. */
  readonly programme?: readonly FrameRange[] | undefined
  /** Stretches that ought to be silent. */
  readonly breaks?: readonly FrameRange[] | undefined
  /** Whether dialogue is listened for; the crew must have been hired for it. */
  readonly listens: boolean
  /** Where there is dialogue, if somebody listened before. */
  readonly heard?: SpeechLane | null
  readonly bitsPerSample: 16 | 24
  /** Also deliver the stereo: the Lo/Ro fold-down, or the Lt/Rt that was decoded. */
  readonly stereo: boolean
  /** Render also what is known not to conform. */
  readonly keepsNonconforming: boolean
  /** Also write the total gain of every frame. */
  readonly writesGain: boolean
  /** Also write what was done to the mix beyond the static gain. */
  readonly writesDifference: boolean
}

/** The files of one delivery while they are made; the edge knows where they lie. */
export interface DeliveryStore {
  /** Makes empty files for a render; what an earlier render wrote is given up. */
  beginPass(): void
  /** Completes the headers, waits for the disk and hashes; what does not conform gets a name that says so. */
  seal(
    files: readonly Omit<DeliveredFile, 'path' | 'sha256' | 'bytes'>[],
    conforms: boolean,
  ): Promise<readonly DeliveredFile[]>
}

export type DeliveryOutcome = {
  readonly report: DeliveryReport
  readonly decision: Decision
  /** False: nothing was rendered, or what was rendered does not conform and is not to be kept. */
  readonly isDelivered: boolean
}

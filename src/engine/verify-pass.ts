import {
  bandField,
  bandsOfParts,
  type Clock,
  curvesWithin,
  type DeliverableRole,
  type DeliveredFile,
  type DeliverySpec,
  describeParts,
  type FitSettings,
  type FoldDownLock,
  type FrameRange,
  frontSpreadOf,
  HOPS_PER_SECOND,
  hasFoldDown,
  highestBand,
  highestLfe,
  highestLfeOverFronts,
  isStereoRole,
  type LayoutName,
  type LoudnessCurves,
  type LoudnessFigures,
  labelAt,
  loudnessCurves,
  loudnessOfParts,
  type Measured,
  type MeasuredPart,
  type Measurements,
  SHORT_TERM_SECONDS,
  type SpeechLane,
  type StereoRole,
  stereoRoleOf,
  subLevels,
  withDialogue,
} from '../domain/index.ts'
import {
  bySegment,
  type MeasuringWay,
  measureBySegment,
  measureParts,
  type ProgrammeShape,
  type Tell,
  withLevels,
} from './by-segment.ts'
import type { Crew } from './crew.ts'
import type { Decision } from './decide/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import { masterNullDbfs } from './measure/index.ts'
import type { RenderedFigures } from './tasks.ts'
import { type JudgeContext, type Judgement, judgeDelivery } from './verify/index.ts'

/** A file as it lies on the disk: under what name the workers find it, and what it is meant to be. */
export type WrittenFile = Pick<DeliveredFile, 'role' | 'bitsPerSample'> & {
  readonly audio: 'multichannel' | 'stereo'
  readonly layout: LayoutName
}

export type VerifiedFile = WrittenFile & {
  /** All of the file, whatever share of it is programme. */
  readonly measured: Measured
  /** What is programme of it, each stretch by itself. */
  readonly parts: readonly MeasuredPart[]
  readonly measurements: Measurements
}

/** What is known of the files besides their bytes. */
export type Origin = {
  /** What the renders told of the master; empty where somebody else rendered. */
  readonly rendered: readonly RenderedFigures[]
  /** Settings that open the fold-down lock on purpose. */
  readonly openedBy: readonly string[]
  /** Constant of the stereo on top of the gains of the 5.1. */
  readonly stereoGainDb: number
  /** What the fit put on the target: the mix, or the middle between it and its stereo. */
  readonly anchor: FitSettings['anchor'] | null
  /** The stretches that are measured; absent: everything. */
  readonly programme?: readonly FrameRange[] | undefined
  /** Where there is dialogue, in every file alike; null where nobody listened. */
  readonly speech: SpeechLane | null
  /** Time of day of the first frame, where the file tells it. */
  readonly startOfDaySeconds: number | null
  readonly clock?: Clock | undefined
}

/** What the bytes of the files turned out to be. */
export type Verified = {
  readonly files: readonly VerifiedFile[]
  readonly lock: FoldDownLock | null
  readonly judgement: Judgement
}

/**
 * Measures the bytes of a delivery, as any recipient would, compares the stereo with what the 5.1 becomes under its law, and judges.
 */
export async function verifyFiles(
  crew: Crew,
  programme: ProgrammeShape,
  written: readonly WrittenFile[],
  spec: DeliverySpec,
  origin: Origin,
  tell: Tell,
): Promise<Verified> {
  const files: VerifiedFile[] = []
  const jobs = written.length + 1
  for (const [index, file] of written.entries()) {
    const told = (share: number) => tell((index + share) / jobs)
    const shape = { ...programme, layout: file.layout }
    const measured = await measureBySegment(crew, shape, file.audio, told)
    const whole = await partsOf(crew, shape, file.audio, measured, origin.programme)
    const parts = await withLevels(crew, shape, file.audio, whole, spec)
    const measurements = describeProgramme(parts, programme.frameCount, origin.speech)
    files.push({ ...file, measured, parts, measurements })
  }
  const law = written.map(({ role }) => role).find(isStereoRole)
  const isPair = law !== undefined && written.some(({ audio }) => audio === 'multichannel')
  const lock = isPair
    ? await foldDownLock(crew, programme, law, origin, (share) => tell((written.length + share) / jobs))
    : null
  const judgement = judgeDelivery({
    spec,
    deliverables: files.map((file) => ({
      ...judgeContext(file.role, file, origin),
      ...file,
    })),
    foldDownLock: lock,
    anchor: origin.anchor,
    heldSamples: origin.rendered.reduce((sum, { overs }) => sum + overs, 0),
  })
  return { files, lock, judgement }
}

/** The files with the figures of those fold-downs that the meter does not make on the way: no line judges them, but they are shown. */
export async function withFoldDowns(
  crew: Crew,
  programme: ProgrammeShape,
  files: readonly VerifiedFile[],
  stretches: readonly FrameRange[] | undefined,
  tell: Tell,
): Promise<readonly VerifiedFile[]> {
  const folded: VerifiedFile[] = []
  for (const [index, file] of files.entries()) {
    if (!hasFoldDown(file.layout)) {
      folded.push(file)
      continue
    }
    const told = (done: number) => (share: number) => tell((index + (done + share) / 2) / files.length)
    const shape = { ...programme, layout: file.layout }
    const ltRt = await foldDownFigures(crew, shape, file.audio, stretches, 'lt-rt', told(0))
    const mono = await foldDownFigures(crew, shape, file.audio, stretches, 'mono', told(1))
    const { measurements } = file
    folded.push({ ...file, measurements: { ...measurements, foldDown: { ...measurements.foldDown, ltRt, mono } } })
  }
  return folded
}

/** How a fold-down of a file reads, over what of it is programme. */
async function foldDownFigures(
  crew: Crew,
  shape: ProgrammeShape,
  audio: WrittenFile['audio'],
  programme: readonly FrameRange[] | undefined,
  foldedTo: 'lt-rt' | 'mono',
  tell: Tell,
): Promise<LoudnessFigures> {
  if (programme === undefined) return loudnessOfParts([await measureBySegment(crew, shape, audio, tell, { foldedTo })])
  const parts = await measureParts(crew, shape, audio, programme, tell, { foldedTo })
  return loudnessOfParts(parts.map(({ measured }) => measured))
}

/** Every figure of a file, of which `parts` are programme, dialogue included where somebody listened. */
export function describeProgramme(
  parts: readonly MeasuredPart[],
  frameCount: number,
  speech: SpeechLane | null,
): Measurements {
  const figures = describeParts(
    parts.map((part) => part.measured),
    frameCount,
  )
  return withDialogue(figures, parts, speech)
}

/** The stretches of a file that are programme, measured by themselves; all of it is one where nothing else is said. */
export async function partsOf(
  crew: Crew,
  shape: ProgrammeShape,
  audio: 'source' | 'multichannel' | 'stereo',
  whole: Measured,
  programme: readonly FrameRange[] | undefined,
  way: MeasuringWay = {},
): Promise<readonly MeasuredPart[]> {
  if (programme === undefined) return [{ startFrame: 0, measured: whole }]
  return measureParts(crew, shape, audio, programme, () => {}, way)
}

/** The files of an order, as they are written. */
export function writtenFiles(order: DeliveryOrder): readonly WrittenFile[] {
  const { source, upmix, bitsPerSample, stereo } = order
  const layout = upmix === null ? source.layout : '5.1'
  const mix: WrittenFile = { audio: 'multichannel', role: roleOf(layout), layout, bitsPerSample }
  return stereo ? [mix, { audio: 'stereo', role: stereoRoleOf(upmix), layout: '2.0', bitsPerSample }] : [mix]
}

/** What opens the fold-down lock on purpose: settings of the order, or the constant that the stereo needs. */
export function openedBy({ upmix }: DeliveryOrder, { stereoGainDb }: Decision): readonly string[] {
  return [
    ...(upmix !== null && frontSpreadOf(upmix) !== 1 ? ['frontSpread'] : []),
    ...(stereoGainDb !== 0 ? ['stereoGain'] : []),
  ]
}

/** The role of a file that holds a whole mix. */
export function roleOf(layout: ProgrammeShape['layout']): DeliverableRole {
  return layout === '5.1' ? 'mix-5.1' : 'mix'
}

/** What the judge must know of a measured file besides its figures. */
export function judgeContext(
  role: DeliverableRole,
  { measured: whole, parts }: Pick<VerifiedFile, 'measured' | 'parts'>,
  origin: Pick<Origin, 'startOfDaySeconds' | 'stereoGainDb' | 'clock' | 'programme'>,
): JudgeContext & { readonly curves: LoudnessCurves } {
  const { startOfDaySeconds, stereoGainDb, clock, programme } = origin
  const { sampleRateHz } = whole
  const truePeakSeconds = highestSeconds(parts, sampleRateHz, ({ channels }) => channels)
  const foldDownTruePeakSeconds = highestSeconds(parts, sampleRateHz, ({ foldDown }) => foldDown ?? [])
  return {
    role,
    nonFiniteSampleCount: parts.reduce((sum, { measured }) => sum + measured.nonFiniteSampleCount, 0),
    hasOwnGain: isStereoRole(role) && stereoGainDb !== 0,
    curves: curvesWithin(loudnessCurves(whole), programme, sampleRateHz),
    ...(truePeakSeconds !== null && { truePeakSeconds }),
    ...(foldDownTruePeakSeconds !== null && { foldDownTruePeakSeconds }),
    levelWindows: levelWindows(parts, sampleRateHz),
    ...(startOfDaySeconds !== null && { startOfDaySeconds }),
    ...(clock !== undefined && {
      timecodeAt: (seconds: number) => labelAt(clock, Math.round(seconds * sampleRateHz)),
    }),
  }
}

/** Where the LFE stands highest, by itself and above the low end of the fronts, and where bands do that have lines. */
function levelWindows(
  parts: readonly MeasuredPart[],
  sampleRateHz: number,
): Readonly<Record<string, { readonly startSeconds: number; readonly endSeconds: number }>> {
  const measured = parts.map((part) => part.measured)
  const levels = subLevels(measured)
  const ofSub =
    levels === null
      ? []
      : ([
          ['lfe.maxShortTermDbfs', highestLfe(levels)],
          ['lfe.overFrontsDb', highestLfeOverFronts(levels)],
        ] as const)
  const ofBands = (bandsOfParts(measured) ?? []).flatMap(({ line, parts: powers }) =>
    line.over === 'short-term' ? [[bandField(line), highestBand(powers, line.over)] as const] : [],
  )
  return Object.fromEntries(
    [...ofSub, ...ofBands].flatMap(([field, peak]) => {
      if (peak === null) return []
      const startSeconds = (parts[peak.part]?.startFrame ?? 0) / sampleRateHz + peak.hop / HOPS_PER_SECOND
      return [[field, { startSeconds, endSeconds: startSeconds + SHORT_TERM_SECONDS }]]
    }),
  )
}

/** Where the highest true peak of some channels stands; null without channels. */
function highestSeconds(
  parts: readonly MeasuredPart[],
  sampleRateHz: number,
  channelsOf: (measured: Measured) => Measured['channels'],
): number | null {
  const peaks = parts.flatMap(({ startFrame, measured }) =>
    channelsOf(measured).map(({ truePeak: { value, frameIndex } }) => ({ value, frameIndex: startFrame + frameIndex })),
  )
  if (peaks.length === 0) return null
  return peaks.reduce((a, b) => (b.value > a.value ? b : a)).frameIndex / sampleRateHz
}

async function foldDownLock(
  crew: Crew,
  programme: ProgrammeShape,
  law: StereoRole,
  origin: Origin,
  tell: Tell,
): Promise<FoldDownLock> {
  const compared = await bySegment(crew, programme, (segment) => ({ kind: 'compare', segment, law }), tell)
  const differingSamples = compared.reduce((sum, segment) => sum + segment.differingSamples, 0)
  const againstMaster = origin.rendered.flatMap((segment) => segment.againstMaster ?? [])
  return {
    law,
    state: differingSamples === 0 ? 'closed' : 'open',
    differingSamples,
    coefficient: 'sqrt(1/2)',
    masterNullDbfs: againstMaster.length === 0 ? null : masterNullDbfs(againstMaster),
    openedBy: origin.openedBy,
    stereoGainDb: origin.stereoGainDb,
  }
}

import {
  type DeliverySpec,
  type Finding,
  type FitSettings,
  type FoldDownLock,
  isJudgedOnDialogue,
  isStereoRole,
  type Margin,
  type Measurements,
  margins,
  printedValue,
  printFigure,
} from '../../domain/index.ts'
import { type JudgeContext, judge } from './judge.ts'
import { waive } from './waive.ts'

/** Files of one delivery, measured from their bytes. */
export type DeliveryToJudge = {
  readonly spec: DeliverySpec
  readonly deliverables: readonly (JudgeContext & { readonly measurements: Measurements })[]
  /** Null where the delivery has no fold-down beside its 5.1. */
  readonly foldDownLock: FoldDownLock | null
  /** What was put on the target: the mix, or the middle between it and its stereo. Null: nothing was. */
  readonly anchor: FitSettings['anchor'] | null
  /** Samples that did not fit the word and were held at its end, where no ceiling stood. */
  readonly heldSamples?: number
}

export type Judgement = {
  readonly conforms: boolean
  readonly findings: readonly Finding[]
  readonly margins: readonly Margin[]
}

/** How near to the target the file that the fit is anchored on must land. Our own promise, narrower than any spec. */
const LANDING_LU = 0.1

/** Holds all files of a delivery against the spec, and the stereo against the 5.1 beside it. */
export function judgeDelivery(delivery: DeliveryToJudge): Judgement {
  const { spec, deliverables, foldDownLock } = delivery
  const roles = deliverables.map((file) => file.role)
  const isFoldedFile = (line: string | null) => line?.startsWith('foldDown.') === true && roles.includes('lo-ro')
  const findings = [
    ...deliverables.flatMap((file) => judge(file.measurements, spec, file)),
    ...waive(judgeLanding(delivery), spec),
    ...judgeLock(foldDownLock),
    ...judgeHeld(delivery.heldSamples ?? 0),
  ].filter((finding) => !isFoldedFile(finding.line))
  return {
    conforms: findings.every((finding) => finding.severity !== 'fail'),
    findings,
    margins: deliverables
      .flatMap((file) => margins(file.measurements, spec, file.role))
      .filter((margin) => !isFoldedFile(margin.line)),
  }
}

function judgeLanding({ deliverables, spec, anchor }: DeliveryToJudge): readonly Finding[] {
  const [mix] = deliverables
  const isDialogue = mix !== undefined && isJudgedOnDialogue(spec, mix.measurements)
  const field = isDialogue ? 'dialogueLoudnessLkfs' : 'programmeLoudnessLkfs'
  const readings = deliverables.map(({ measurements }) => measurements[field])
  const [ofMix = null, ofStereo = null] = readings
  const isBalanced = anchor === 'balanced' && ofMix !== null && ofStereo !== null
  const measured = isBalanced ? (ofMix + ofStereo) / 2 : ofMix
  const target = spec.programmeLoudness.targetLkfs
  if (anchor === null || mix === undefined || isStereoRole(mix.role) || measured === null) return []
  if (printedValue(Math.abs(measured - target), 3) <= LANDING_LU) return []
  return [
    {
      id: 'beside-target',
      severity: 'warn',
      line: field,
      measured,
      allowed: [target - LANDING_LU, target + LANDING_LU],
      unit: 'LKFS',
      at: null,
      source: 'docs/decisions/0003-judging.md',
      message:
        `The ${isBalanced ? 'middle between mix and stereo' : 'mix'} stands at ${printFigure(measured, 2)} LKFS, more than ${LANDING_LU} LU from the target of ` +
        `${printFigure(target)}: a lock, a corridor or the ceiling kept the fit from landing; look at what was altered.`,
    },
  ]
}

function judgeHeld(count: number): readonly Finding[] {
  if (count === 0) return []
  return [
    {
      id: 'clipped-samples',
      severity: 'fail',
      line: null,
      measured: count,
      allowed: 0,
      unit: 'samples',
      at: null,
      source: 'common practice',
      message:
        `${count} samples pass full scale where no ceiling stands and were held there: lower the trims, or let all ` +
        'stages of the fit act.',
    },
  ]
}

function judgeLock(lock: FoldDownLock | null): readonly Finding[] {
  if (lock === null || lock.state === 'closed') return []
  const isOnPurpose = lock.openedBy.length > 0
  const { name, stereo, made } = LOCK_WORDS[lock.law]
  return [
    {
      id: 'fold-down-lock',
      severity: isOnPurpose ? 'warn' : 'fail',
      line: null,
      measured: lock.differingSamples,
      allowed: 0,
      unit: 'samples',
      at: null,
      source: lock.law === 'lo-ro' ? 'ITU-R BS.775-4' : 'ATSC A/52',
      message: isOnPurpose
        ? `The ${name} lock is open on purpose (${lock.openedBy.join(', ')}): ${howItIsOpen(lock)}.`
        : `The ${name} lock is open: ${lock.differingSamples} samples of the delivered ${stereo} differ from the ${made} ` +
          'of the 5.1; render again and report it if it stays.',
    },
  ]
}

/** The words of a lock: its name, the stereo file, and what that is of the 5.1. */
const LOCK_WORDS = {
  'lo-ro': { name: 'fold-down', stereo: 'stereo', made: 'Lo/Ro fold-down' },
  'lt-rt': { name: 're-encode', stereo: 'Lt/Rt', made: 'encode' },
} as const

function howItIsOpen({ law, stereoGainDb }: FoldDownLock): string {
  const { stereo, made } = LOCK_WORDS[law]
  return stereoGainDb === 0
    ? 'the 5.1 folds down to another stereo than the one that is delivered'
    : `the ${stereo} stands ${printFigure(Math.abs(stereoGainDb), 2)} dB ${stereoGainDb < 0 ? 'below' : 'above'} the ` +
        `${made} of the 5.1`
}

import {
  type Clause,
  type DeliverableRole,
  type DeliverySpec,
  distanceInside,
  type Finding,
  isInside,
  isJudgedOnDialogue,
  isStereoRole,
  LEAST_DIALOGUE_SHARE,
  type LoudnessCurve,
  type LoudnessCurves,
  lengthInWords,
  type Measurements,
  type Place,
  printedValue,
  printFigure,
  printTime,
  type SpecLine,
  specLines,
} from '../../domain/index.ts'
import { placesAbove } from './places.ts'
import { waive } from './waive.ts'

/** What is known of a file besides its figures. */
export type JudgeContext = {
  readonly role: DeliverableRole
  /** True for a stereo with a constant of its own on top of the gains of the 5.1. */
  readonly hasOwnGain?: boolean
  /** Samples that were NaN or infinite. */
  readonly nonFiniteSampleCount: number
  /** With the curves a finding names the places where a loudness limit is passed; without, it has none. */
  readonly curves?: LoudnessCurves
  /** Where the highest true peak stands. */
  readonly truePeakSeconds?: number
  /** Where that of the Lo/Ro fold-down stands. */
  readonly foldDownTruePeakSeconds?: number
  /** The 3 s in which the LFE or a band stands highest, by the field of the line. */
  readonly levelWindows?: Readonly<Record<string, Omit<Place, 'timecode'>>>
  /** Time of day of the first frame; sentences then name times of day, as the report's ruler does. */
  readonly startOfDaySeconds?: number
  /** Timecode of an instant of the programme; absent where the file carries none. */
  readonly timecodeAt?: (seconds: number) => string
}

/** More places than this are counted, not listed: the worst are named. */
const MOST_PLACES = 12

/** One gating block. @source ITU-R BS.1770-5 Annex 1 */
const GATING_BLOCK_SECONDS = 0.4

const FILE_NAMES: Readonly<Record<DeliverableRole, string>> = {
  'mix-5.1': '5.1',
  'lo-ro': 'Stereo',
  'lt-rt': 'Lt/Rt',
  mix: 'Mix',
}

/** Holds one file against a spec. Only a finding with severity `fail` makes it non-conforming. */
export function judge(measurements: Measurements, spec: DeliverySpec, context: JudgeContext): readonly Finding[] {
  const findings = [
    ...judgeSignal(measurements, context),
    ...judgeSampleRate(measurements, spec, context),
    ...judgeAnchor(measurements, spec, context),
    ...specLines(measurements, spec, context.role).flatMap((line) => judgeLine(line, spec, context)),
    ...(isStereoRole(context.role) ? [] : linesLeftOut(spec, context)),
  ]
  return waive(findings, spec)
}

/** Findings that need no spec: samples that are no numbers, and a programme that cannot be measured. */
export function judgeSignal(measurements: Measurements, context: JudgeContext): readonly Finding[] {
  const findings: Finding[] = []
  const count = context.nonFiniteSampleCount
  if (count > 0) {
    const were = count === 1 ? 'sample is' : 'samples are'
    findings.push({
      ...whole('non-finite-samples', 'fail', null),
      measured: count,
      allowed: 0,
      unit: 'samples',
      source: 'common practice',
      message: sentence(context, `${count} ${were} not a number or infinite; render the file again`),
    })
  }
  if (measurements.programmeLoudnessLkfs === null) {
    const why =
      measurements.durationSeconds < GATING_BLOCK_SECONDS
        ? `it lasts ${printFigure(measurements.durationSeconds, 2)} s, less than one gating block of 0.4 s`
        : `nothing in it is louder than the gate at ${printFigure(-70)} LKFS`
    findings.push({
      ...whole('not-measurable', 'fail', 'programmeLoudnessLkfs'),
      unit: 'LKFS',
      source: 'ITU-R BS.1770-5',
      message: sentence(context, `programme loudness cannot be measured: ${why}; check that this is the right file`),
    })
  }
  return findings
}

function judgeSampleRate(measurements: Measurements, spec: DeliverySpec, context: JudgeContext): readonly Finding[] {
  const accepted = spec.sampleRatesHz
  if (accepted === undefined || accepted.includes(measurements.sampleRateHz)) return []
  const found = `the sample rate is ${measurements.sampleRateHz} Hz, ${spec.title} accepts ${accepted.join(', ')} Hz`
  return [
    {
      ...whole('sample-rate', 'fail', 'sampleRateHz'),
      measured: measurements.sampleRateHz,
      allowed: [Math.min(...accepted), Math.max(...accepted)],
      unit: 'Hz',
      source: citation(spec.programmeLoudness.source),
      message: sentence(context, `${found}; convert it before delivery`),
    },
  ]
}

function judgeAnchor(measurements: Measurements, spec: DeliverySpec, context: JudgeContext): readonly Finding[] {
  if (spec.anchor === 'programme' || isStereoRole(context.role) || isJudgedOnDialogue(spec, measurements)) return []
  const { dialogueShare } = measurements
  const anchor = `${spec.title} measures the anchor element, usually dialogue;`
  const instead = 'so the gated total of the whole programme is judged in its place'
  if (dialogueShare === null) {
    return [
      {
        ...whole('anchor-not-measured', 'note', 'dialogueLoudnessLkfs'),
        unit: 'LKFS',
        source: citation(spec.programmeLoudness.source),
        message: sentence(context, `${anchor} no dialogue was listened for, ${instead}`),
      },
    ]
  }
  const [found, least] = [dialogueShare, LEAST_DIALOGUE_SHARE].map((share) => `${printFigure(100 * share, 0)} %`)
  return [
    {
      ...whole('little-dialogue', 'note', 'dialogueShare'),
      measured: dialogueShare,
      allowed: LEAST_DIALOGUE_SHARE,
      unit: 'share',
      source: 'common practice',
      message: sentence(context, `${anchor} ${found} of this is dialogue, less than ${least}, ${instead}`),
    },
  ]
}

/** Lines that hold for other lengths of programme are named, so that nobody looks for them. */
function linesLeftOut({ leftOut = [] }: DeliverySpec, context: JudgeContext): readonly Finding[] {
  return leftOut.map(({ field, name, length, seconds, source }) => ({
    ...whole('line-of-other-length', 'note', field),
    measured: seconds,
    unit: 's',
    source: citation(source),
    message: sentence(
      context,
      `the line on ${name} holds for ${lengthInWords(length)}, and this one lasts ${printFigure(seconds)} s: it is not judged`,
    ),
  }))
}

/** What is held against the target. */
const TOTALS: readonly string[] = ['programmeLoudnessLkfs', 'dialogueLoudnessLkfs']

function judgeLine(line: SpecLine, spec: DeliverySpec, context: JudgeContext): readonly Finding[] {
  if (line.measured === null) return judgeUnmeasured(line, context)
  const isOffset = isStereoRole(context.role) && TOTALS.includes(line.field)
  const missed = !isInside(line, line.measured)
  if (isOffset) return [stereoOffset(line, line.measured, spec, missed, context), ...byRounding(line, context)]
  if (!missed) return byRounding(line, context)
  const curve = curveOf(line, context)
  const placed = curve === null ? [] : judgePlaces(line, curve, context)
  return placed.length > 0 ? placed : [missedLine(line, line.measured, pointOf(line, context), context)]
}

/** A required line without a value fails, but for two: silence has no peak and no level, and an unmeasurable total is said once. */
function judgeUnmeasured(line: SpecLine, context: JudgeContext): readonly Finding[] {
  const isSilent = line.unit === 'dBTP' || line.field === 'lfe.maxShortTermDbfs'
  if (isSilent || line.field.endsWith('programmeLoudnessLkfs')) return []
  return [
    {
      ...whole(`${line.id}-not-measurable`, line.severity, line.field),
      allowed: allowedOf(line),
      unit: line.unit,
      source: citation(line.source),
      message: sentence(
        context,
        `${line.name} cannot be measured: the programme is silent or shorter than one window; agree with the recipient ` +
          'how it is judged',
      ),
    },
  ]
}

function judgePlaces(line: SpecLine, curve: LoudnessCurve, context: JudgeContext): readonly Finding[] {
  const places = placesAbove(curve, (lkfs) => !isInside(line, lkfs))
  const worst = places.toSorted((a, b) => b.highestLkfs - a.highestLkfs).slice(0, MOST_PLACES)
  const left = places.length - worst.length
  return worst
    .toSorted((a, b) => a.startSeconds - b.startSeconds)
    .map((excess, index) => {
      const finding = missedLine(line, excess.highestLkfs, placeOf(excess, context), context)
      if (index < worst.length - 1 || left === 0) return finding
      return {
        ...finding,
        message: `${finding.message} ${left} more ${left === 1 ? 'place is' : 'places are'} above it.`,
      }
    })
}

function missedLine(line: SpecLine, measured: number, at: Place | null, context: JudgeContext): Finding {
  const where =
    at === null ? '' : ` at ${at.timecode ?? printTime((context.startOfDaySeconds ?? 0) + at.startSeconds, 1)}`
  const beyond = -distanceInside(line, measured)
  const isLow = line.low !== null && measured < line.low
  const by = `${printFigure(beyond)} ${line.unit.startsWith('dB') ? 'dB' : 'LU'} ${isLow ? 'below' : 'above'}`
  return {
    ...whole(line.id, line.severity, line.field),
    measured,
    allowed: allowedOf(line),
    unit: line.unit,
    at,
    source: citation(line.source),
    message: sentence(
      context,
      `${line.name}${where} is ${printFigure(measured)} ${line.unit}, ${by} the allowed ${allowedInWords(line)}; ${line.remedy}`,
    ),
  }
}

/** Both files carry one gain, so the stereo stands beside the target by what the upmix takes from the 5.1. */
function stereoOffset(
  line: SpecLine,
  measured: number,
  spec: DeliverySpec,
  missed: boolean,
  context: JudgeContext,
): Finding {
  const offset = measured - spec.programmeLoudness.targetLkfs
  const beside =
    printedValue(offset) === 0 ? 'at' : `${printFigure(Math.abs(offset))} LU ${offset < 0 ? 'below' : 'above'}`
  const target = printFigure(spec.programmeLoudness.targetLkfs)
  const verdict = missed
    ? `outside the allowed ${allowedInWords(line)}; give the stereo a gain of its own (stereoGain=own), share the offset ` +
      'between both files (anchor=balanced), or agree it with the recipient'
    : `inside the allowed ${allowedInWords(line)}; ${context.hasOwnGain ? 'it has a gain of its own' : 'both files carry the same gain'}`
  return {
    ...whole('stereo-offset', missed ? 'fail' : 'note', line.field),
    measured,
    allowed: allowedOf(line),
    unit: line.unit,
    source: citation(line.source),
    message: sentence(
      context,
      `${line.name} is ${printFigure(measured)} LKFS, ${beside} the target of ${target}, ${verdict}`,
    ),
  }
}

function byRounding(line: SpecLine, context: JudgeContext): readonly Finding[] {
  const measured = line.measured as number
  if (distanceInside(line, measured) >= 0 || !isInside(line, measured)) return []
  return [
    {
      ...whole('inside-by-rounding', 'warn', line.field),
      measured,
      allowed: allowedOf(line),
      unit: line.unit,
      source: 'docs/decisions/0003-judging.md',
      message: sentence(
        context,
        `${line.name} is ${printFigure(measured, 3)} ${line.unit} and meets ${allowedInWords(line)} only when it is read ` +
          'with one decimal; leave more margin',
      ),
    },
  ]
}

function curveOf(line: SpecLine, context: JudgeContext): LoudnessCurve | null {
  if (line.field === 'maxShortTermLkfs') return context.curves?.shortTerm ?? null
  if (line.field === 'maxMomentaryLkfs') return context.curves?.momentary ?? null
  return null
}

function pointOf(line: SpecLine, context: JudgeContext): Place | null {
  const window = context.levelWindows?.[line.field]
  if (window !== undefined) return placeOf(window, context)
  const seconds = peakSecondsOf(line, context)
  if (seconds === undefined) return null
  return placeOf({ startSeconds: seconds, endSeconds: seconds }, context)
}

function peakSecondsOf({ field }: SpecLine, context: JudgeContext): number | undefined {
  if (field === 'maxTruePeakDbtp') return context.truePeakSeconds
  return field === 'foldDown.loRo.maxTruePeakDbtp' ? context.foldDownTruePeakSeconds : undefined
}

function placeOf(stretch: Omit<Place, 'timecode'>, context: JudgeContext): Place {
  const { startSeconds, endSeconds } = stretch
  return { startSeconds, endSeconds, timecode: context.timecodeAt?.(startSeconds) ?? null }
}

function whole(id: string, severity: Finding['severity'], line: string | null) {
  return { id, severity, line, measured: null, allowed: null, unit: null, at: null } as const
}

function allowedOf(line: SpecLine): Finding['allowed'] {
  return line.low === null ? line.high : [line.low, line.high]
}

function allowedInWords(line: SpecLine): string {
  return line.low === null ? printFigure(line.high) : `${printFigure(line.low)} to ${printFigure(line.high)}`
}

/** The document as it is cited, e.g. `ATSC A/85:2013`. */
function citation(source: Clause): string {
  if (source.basis === 'common practice') return source.basis
  return `${source.document}${/^\d{4}$/.test(source.edition) ? ':' : ' '}${source.edition}`
}

function sentence(context: JudgeContext, text: string): string {
  return `${FILE_NAMES[context.role]}: ${text}.`
}

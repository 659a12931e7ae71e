import {
  type Clock,
  clockFromLabel,
  clockFromSamples,
  type Finding,
  inWords,
  isTimecodeProblem,
  labelAt,
  parseLabel,
  type Refusal,
  type TimecodeFormat,
  type TimecodeProblem,
  timecodeFormat,
} from '../domain/index.ts'
import type { Probe } from '../media/index.ts'
import { refuse } from './refusals.ts'

/** What the user says of the timecode; it outranks the file. */
export type TimecodeOptions = {
  /** e.g. `25` or `30000/1001`. */
  readonly timecodeRate?: string | undefined
  /** Label of the first frame. */
  readonly timecodeStart?: string | undefined
  readonly dropFrame?: boolean | undefined
}

type Told = Pick<Probe, 'bext' | 'ixml' | 'format'>

/**
 * The clock of a programme: the rate from the user or iXML, the start from the user, `bext` or iXML. Null where no rate
 * is known. Where two of them disagree, a finding says which one counts.
 */
export function clockOf(
  path: string,
  told: Told,
  options: TimecodeOptions,
): { readonly clock: Clock | null; readonly findings: readonly Finding[] } {
  const { sampleRateHz } = told.format
  const format = formatOf(path, told, options)
  if (format === null) {
    if (options.timecodeStart === undefined) return { clock: null, findings: recordedRate(told) }
    throw refuse('JOBS_TIMECODE_RATE', `start "${path}" at ${options.timecodeStart}`, 'no rate that it counts at', {
      remedy: 'Add --timecode-rate, for example --timecode-rate 25.',
    })
  }
  const stamp = stampOf(told)
  const stamped = clockFromSamples(format, stamp?.samples ?? 0, sampleRateHz)
  const findings = [...recordedRate(told), ...rateBesideIxml(format, told)]
  if (options.timecodeStart === undefined) {
    const isKnown = stamp !== null || options.timecodeRate !== undefined
    return { clock: isKnown ? stamped : null, findings: [...findings, ...stampsBesideEachOther(told, format)] }
  }
  const start = parseLabel(options.timecodeStart, format)
  if (isTimecodeProblem(start)) throw labelRefusal(`start "${path}" at ${options.timecodeStart}`, start)
  const clock = clockFromLabel(format, start, sampleRateHz)
  return { clock, findings: [...findings, ...startBesideFile(clock, stamp === null ? null : stamped)] }
}

/** The refusal of a label that does not exist, with the nearest that does. */
export function labelRefusal(action: string, { found, wanted, nearest }: TimecodeProblem): Refusal {
  const remedy = nearest === null ? undefined : `The nearest label that exists is ${nearest}.`
  return refuse('JOBS_TIMECODE_LABEL', action, found, { wanted, remedy })
}

/** Writes the timecode of every place that has none yet. */
export function inTimecode(findings: readonly Finding[], clock: Clock | null): readonly Finding[] {
  if (clock === null) return findings
  return findings.map((finding) => {
    if (finding.at === null || finding.at.timecode !== null) return finding
    const timecode = labelAt(clock, Math.round(finding.at.startSeconds * clock.sampleRateHz))
    return { ...finding, at: { ...finding.at, timecode } }
  })
}

function formatOf(path: string, { ixml }: Told, options: TimecodeOptions): TimecodeFormat | null {
  const inFile = ixml?.timecode ?? null
  const rate = options.timecodeRate ?? inFile?.rate
  if (rate === undefined) {
    if (options.dropFrame !== true) return null
    throw refuse('JOBS_TIMECODE_RATE', `count "${path}" in drop-frame`, 'no rate that it counts at', {
      remedy: 'Add --timecode-rate 29.97 or 59.94.',
    })
  }
  const format = timecodeFormat(rate, options.dropFrame ?? false)
  if (isTimecodeProblem(format)) {
    const { found, wanted, nearest } = format
    const remedy = nearest === null ? undefined : `The nearest is ${nearest}.`
    throw refuse('JOBS_TIMECODE_RATE', `count the timecode of "${path}"`, found, { wanted, remedy })
  }
  // Who only repeats the rate of the file has said nothing against its way of counting.
  return format.rate === inFile?.rate && options.dropFrame === undefined ? inFile : format
}

/** Samples since midnight at the rate of the file: `bext` before iXML, which copies it. */
function stampOf({ bext, ixml, format }: Told): { readonly samples: number } | null {
  if (bext !== null && bext.timeReferenceSamples > 0) return { samples: bext.timeReferenceSamples }
  const inIxml = ixmlSamples(ixml, format.sampleRateHz)
  if (inIxml !== null) return { samples: inIxml }
  return bext === null ? null : { samples: 0 }
}

function ixmlSamples(ixml: Told['ixml'], sampleRateHz: number): number | null {
  if (ixml === null || ixml.timestampSamples === null) return null
  const rate = ixml.timestampRateHz ?? sampleRateHz
  return rate === sampleRateHz ? ixml.timestampSamples : Math.round((ixml.timestampSamples / rate) * sampleRateHz)
}

function recordedRate({ ixml, format }: Told): readonly Finding[] {
  const recorded = ixml?.sampleRateHz ?? null
  if (recorded === null || recorded === format.sampleRateHz) return []
  const message =
    `The iXML chunk says that the audio was recorded at ${recorded} Hz, the header plays it at ${format.sampleRateHz} ` +
    'Hz; check that the speed is right.'
  return [
    {
      ...disagreement('sample-rate-disagrees', 'warn', message),
      line: 'sampleRateHz',
      measured: format.sampleRateHz,
      allowed: [recorded, recorded],
      unit: 'Hz',
    },
  ]
}

function rateBesideIxml(format: TimecodeFormat, { ixml }: Told): readonly Finding[] {
  const inFile = ixml?.timecode ?? null
  if (inFile === null || (inFile.rate === format.rate && inFile.dropFrame === format.dropFrame)) return []
  const message = `You say ${inWords(format)}, the iXML chunk says ${inWords(inFile)}; yours counts. Check which is right.`
  return [disagreement('timecode-rate-disagrees', 'warn', message)]
}

function stampsBesideEachOther({ bext, ixml, format }: Told, timecode: TimecodeFormat): readonly Finding[] {
  const inIxml = ixmlSamples(ixml, format.sampleRateHz)
  const inBext = bext?.timeReferenceSamples ?? null
  if (inIxml === null || inBext === null || inIxml === inBext) return []
  const label = (samples: number) => labelAt(clockFromSamples(timecode, samples, format.sampleRateHz), 0)
  const counts = inBext > 0 ? 'bext' : 'iXML'
  const message =
    `The file starts at ${label(inBext)} by its bext chunk and at ${label(inIxml)} by iXML; ${counts} counts. ` +
    'Say --timecode-start yourself if that is wrong.'
  return [disagreement('timecode-start-disagrees', 'warn', message)]
}

function startBesideFile(clock: Clock, stamped: Clock | null): readonly Finding[] {
  if (stamped === null) return []
  const [yours, ofFile] = [labelAt(clock, 0), labelAt(stamped, 0)]
  if (yours === ofFile) return []
  const message = `You say that the programme starts at ${yours}, the file says ${ofFile}; yours counts.`
  return [disagreement('timecode-start-disagrees', 'note', message)]
}

function disagreement(id: string, severity: Finding['severity'], message: string): Finding {
  const source = 'EBU Tech 3285 v2; iXML'
  return { id, severity, line: null, measured: null, allowed: null, unit: null, at: null, source, message }
}

import {
  type BandLimit,
  decodesMatrix,
  type Finding,
  lateTrack,
  readSource,
  type SourceReading,
  type SpeechLane,
  type UpmixSettings,
} from '../domain/index.ts'
import { bySegment, listenBySegment, type ProgrammeShape, type Tell } from './by-segment.ts'
import type { Crew, Watch } from './crew.ts'
import { concludeReading } from './intake/index.ts'
import { Stages } from './progress-shares.ts'
import type { Mending } from './render/index.ts'

/** What a two-track programme was found to be, and what of it the mixer has to know. */
export type ReadProgramme = { readonly reading: SourceReading; readonly findings: readonly Finding[] }

/**
 * Finds out what the two tracks of a programme are, as far as an upmix acts on it: a part of what `inspect` does. What is
 * told of it depends on the kind that the mixer calls it.
 */
export async function readProgramme(
  crew: Crew,
  programme: ProgrammeShape,
  { kind }: Pick<UpmixSettings, 'kind'>,
  tell: Tell = () => {},
): Promise<ReadProgramme> {
  const task = (segment: number) => ({ kind: 'read-source', segment }) as const
  const segments = await bySegment(crew, programme, task, tell)
  const { layout, sampleRateHz, frameCount } = programme
  const { twoTrack, bandLimits } = concludeReading(segments, { layout, sampleRateHz, frameCount, speech: null })
  const reading = readSource(twoTrack)
  return { reading, findings: sourceFindings(reading, kind, bandLimits) }
}

/** Listens for speech in a two-track programme before it is upmixed. The crew must have been hired for it. */
export function hearProgramme(crew: Crew, programme: ProgrammeShape, watch: Watch): Promise<SpeechLane> {
  return listenBySegment(crew, programme, 'source', new Stages(watch).tell('listen'))
}

/** Writes a master with its tracks mended, segment by segment. */
export async function mendProgramme(crew: Crew, programme: ProgrammeShape, mending: Mending): Promise<void> {
  await bySegment(
    crew,
    programme,
    (segment) => ({ kind: 'mend', segment, mending }) as const,
    () => {},
  )
}

function finding(
  id: string,
  severity: 'warn' | 'note',
  message: string,
  measured: number | null = null,
  unit: string | null = null,
): Finding {
  return { id, severity, line: null, measured, allowed: null, unit, at: null, source: null, message }
}

type Kind = UpmixSettings['kind']

/** Lossy coding below this confidence is not spoken of. */
const SURE_OF_CODING = 0.6

function sourceFindings(
  reading: SourceReading,
  kind: Kind,
  bandLimits: readonly (BandLimit | null)[],
): readonly Finding[] {
  const coded = bandLimits.find((limit) => {
    return limit !== null && limit.suggests !== 'lower-sample-rate' && limit.confidence >= SURE_OF_CODING
  })
  return [
    ...kindFindings(reading, kind),
    ...(decodesMatrix({ kind }, reading) ? decodedFindings(reading) : qualityFindings(reading)),
    ...trackFindings(reading),
    ...(coded
      ? [
          finding(
            'source-coded',
            'warn',
            `The master seems to have been through lossy coding (it ends steeply at ${Math.round(coded.cutHz)} Hz): ` +
              'what coding hid under louder sound may be heard once the channels stand apart. Look for an earlier generation.',
            Math.round(coded.cutHz),
            'Hz',
          ),
        ]
      : []),
  ]
}

function kindFindings(reading: SourceReading, asked: Kind): readonly Finding[] {
  const { kind, found, isDoubtful, confidence, evidence } = reading
  const why = evidence[0] ?? ''
  if (asked !== 'auto') {
    if (asked === kind || isDoubtful) return []
    const message = `The master is taken as ${asked}, as asked, though it looks like ${kind}. ${why}`
    return [finding('source-kind-asked', 'note', message, confidence)]
  }
  if (isDoubtful) {
    const other = kind === 'lt-rt' ? 'stereo' : 'lt-rt'
    const message = `It is not certain whether the master is stereo or Lt/Rt; with kind=auto it is taken as ${kind}. ${why} Listen, and say --set kind=${other} or kind=${kind}.`
    return [finding('source-kind-doubtful', 'warn', message, confidence)]
  }
  if (kind === 'lt-rt') {
    return [finding('source-matrix', 'note', `The master is Lt/Rt: with kind=auto it is decoded. ${why}`, confidence)]
  }
  if (found === 'dual-mono') {
    const message =
      'Both tracks are the same: all of the sound goes to the centre. monoAmbience adds a little room in the surrounds.'
    return [finding('source-mono', 'note', message, confidence)]
  }
  return []
}

/** What a mixer has to know of a decoded Lt/Rt. */
function decodedFindings({ delay }: SourceReading): readonly Finding[] {
  const decoded = finding(
    'lt-rt-decoded',
    'note',
    'Decoded as Lt/Rt. The lock is that of the re-encode: L + k(C - Ls - Rs) and R + k(C + Ls + Rs) of the 5.1, rounded, ' +
      'are the words of the Lt/Rt; the Lo/Ro fold-down is another stereo. The surrounds keep the phase they have in the ' +
      'Lt/Rt; noise reduction is not decoded. Of the settings, centreShare, centreLowCutHz, ambienceShare, ' +
      'surroundBalance, surroundHighCutHz and those of the LFE count.',
  )
  if (delay.length === 0) return [decoded]
  const worst = delay.reduce((a, { microseconds: b }) => (Math.abs(b) > Math.abs(a) ? b : a), 0)
  const message = `${lateTrack(worst, worst)} at most (a tape head askew), which decoding does not follow: treble of the middle leaks into the surrounds. Have the tape played with its azimuth set.`
  return [decoded, finding('source-azimuth', 'warn', message, worst, 'us')]
}

function trackFindings(reading: SourceReading): readonly Finding[] {
  const { onlySide, isInverted, offsetMicroseconds, confidence, isWide } = reading
  const found: Finding[] = []
  if (onlySide !== null) {
    const message = `Only the ${onlySide} track has sound: it stays in the ${onlySide} front. If the programme is mono, --set tracks=${onlySide} makes the master from that track.`
    found.push(finding('source-one-sided', 'warn', message, confidence))
  }
  if (isInverted) {
    const message =
      'The tracks are upside down to each other: nothing of the middle reaches the centre, and in mono it is gone. --set polarity=flip-right (or flip-left) turns one of them; the delivered stereo is then the mended one.'
    found.push(finding('source-inverted', 'warn', message, confidence))
  }
  if (offsetMicroseconds !== 0) {
    const late = offsetMicroseconds > 0 ? 'right' : 'left'
    const ms = Math.abs(offsetMicroseconds) / 1000
    const message = `The ${late} track is late by ${ms.toFixed(3)} ms. --set trackAlignment=align brings it forward; the delivered stereo is then the aligned one, and the fold-down is locked to that.`
    found.push(finding('source-offset', 'warn', message, ms, 'ms'))
  }
  if (isWide && !isInverted) {
    const message =
      'Much of the sound lies in antiphase between the tracks, as in a mix whose difference was raised: it stays in the fronts, and in mono it is weak. Nothing was changed.'
    found.push(finding('source-wide', 'warn', message))
  }
  return found
}

function qualityFindings({ delay, noiseFloor }: SourceReading): readonly Finding[] {
  const found: Finding[] = []
  if (delay.length > 0) {
    const delays = delay.map(({ microseconds }) => microseconds)
    const least = delays.reduce((a, b) => Math.min(a, b))
    const most = delays.reduce((a, b) => Math.max(a, b))
    const message = `${lateTrack(least, most)} (a tape head askew): it is followed, so that the centre keeps its treble. azimuthTracking=off does not.`
    found.push(finding('source-azimuth', 'note', message, Math.abs(least) > Math.abs(most) ? least : most, 'us'))
  }
  if (noiseFloor !== null) {
    const message = 'Steady hiss lies under the whole programme: it stays in front (surroundNoiseHold).'
    found.push(finding('source-hiss', 'note', message))
  }
  return found
}

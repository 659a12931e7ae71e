import { createHash } from 'node:crypto'
import { existsSync, statSync } from 'node:fs'
import { basename, extname, join } from 'node:path'
import {
  type Cancellation,
  type Clock,
  type DeliverySpec,
  type Finding,
  type LayoutName,
  type PcmFormat,
  Refusal,
} from '../domain/index.ts'
import { type DeliveryOrder, identifyOrder } from '../engine/index.ts'
import {
  type Bext,
  type ChannelOptions,
  decodeToScratch,
  openPcm,
  type PcmLocation,
  probe,
  type ReelLocation,
  sha256Of,
} from '../media/index.ts'
import { clockOf, type TimecodeOptions } from './clock.ts'
import { refuse } from './refusals.ts'

/** A file that was opened, understood and can be read at any frame. */
export type OpenedSource = {
  /** As the user typed it. */
  readonly path: string
  /** The file name without its ending: names the title where nothing else does. */
  readonly titleId: string
  readonly location: PcmLocation | ReelLocation
  /** The files of a programme that came in several; empty where it is one. */
  readonly reels: readonly OpenedSource[]
  readonly format: PcmFormat
  readonly layout: LayoutName
  readonly frameCount: number
  readonly bitsPerSample: number
  readonly container: string
  readonly bext: Bext | null
  /** Null where the file has no timecode and the user gave none. */
  readonly clock: Clock | null
  /** Size and time of the file when it was opened. */
  readonly stamp: string
  /** What is odd about the file: truncated data, sizes that lie, channels told by evidence. */
  readonly findings: readonly Finding[]
}

/**
 * Opens a programme. What cannot be read at any frame (FLAC) is decoded once into `scratchFolder`.
 * Six channels that the header does not name are told by evidence, else refused.
 */
export async function openSource(
  path: string,
  scratchFolder: () => string,
  options: ChannelOptions & TimecodeOptions = {},
  cancellation?: Cancellation,
): Promise<OpenedSource> {
  const header = probe(path, options)
  const location =
    header.location ??
    (await decodeToScratch(path, join(scratchFolder(), `${basename(path)}.${options.order ?? 'told'}.pcm`), {
      ...options,
      ...(cancellation && { cancellation }),
    }))
  if (header.layout !== null) return opened(path, header, location, options)

  const source = openPcm(location)
  const evidence = identifyOrder(source)
  source.close()
  if (evidence.order === null) {
    const { channelCount } = header.format
    throw refuse('JOBS_LAYOUT_UNKNOWN', `read "${path}"`, `${channelCount} channels and no usable channel mask`)
  }
  return openSource(path, scratchFolder, { ...options, order: evidence.order }, cancellation).then((told) => ({
    ...told,
    findings: [...told.findings, orderByEvidence(evidence)],
  }))
}

/**
 * Refuses a multichannel file whose header does not say what the channels are in the words of a command that cannot be
 * told: `say` is given what was found. Any other error passes through.
 */
export function insteadOfUntold(say: (found: string) => Refusal): (error: unknown) => never {
  return (error) => {
    throw error instanceof Refusal && UNTOLD_CHANNELS.includes(error.code) ? say(error.found) : error
  }
}

const UNTOLD_CHANNELS: readonly string[] = ['JOBS_LAYOUT_UNKNOWN', 'MEDIA_CHANNEL_MASK']

function opened(
  path: string,
  header: ReturnType<typeof probe>,
  location: PcmLocation,
  options: TimecodeOptions,
): OpenedSource {
  const { format, layout, frameCount } = location
  const { bitsPerSample, container, bext } = header
  const { clock, findings } = clockOf(path, header, options)
  const titleId = basename(path, extname(path))
  const stamp = stampOf(path)
  return {
    path,
    titleId,
    location,
    reels: [],
    format,
    layout,
    frameCount,
    bitsPerSample,
    container,
    bext,
    clock,
    stamp,
    findings: [...header.findings, ...findings],
  }
}

function stampOf(path: string): string {
  const { size, mtimeNs, ino } = statSync(path, { bigint: true })
  return `${size} ${mtimeNs} ${ino}`
}

/** Refuses what was made of a file that somebody wrote to meanwhile: its hash and its audio need not belong together. */
export function refuseChanged({ path, stamp, reels }: OpenedSource): void {
  if (reels.length > 0) {
    for (const reel of reels) refuseChanged(reel)
    return
  }
  if (!existsSync(path) || stampOf(path) === stamp) return
  throw refuse('JOBS_SOURCE_CHANGED', `use "${path}"`, 'a file that was written to while it was used')
}

function orderByEvidence(evidence: ReturnType<typeof identifyOrder>): Finding {
  return {
    id: 'channel-order-by-evidence',
    severity: 'note',
    line: null,
    measured: null,
    allowed: null,
    unit: null,
    at: null,
    source: null,
    message:
      `The header does not say what the channels are; by the audio they are in ${evidence.order} order ` +
      `(${evidence.evidence.join(' ')}) Say --order yourself if that is wrong.`,
  }
}

/** What is wrong with a file that is not whole, by the finding of its reader. */
const DAMAGE: Readonly<Record<string, string>> = {
  'truncated-data': 'a file whose end is missing',
  'lying-size': 'a header that does not tell the true size of the file',
  'size-not-told': 'a header that was never completed',
}

/** Refuses to make anything from a file that is not whole. */
export function refuseDamage(source: OpenedSource): void {
  const damage = source.findings.find((finding) => finding.severity === 'fail')
  if (damage === undefined) return
  throw refuse('JOBS_SOURCE_DAMAGED', `use "${source.path}"`, DAMAGE[damage.id] ?? 'a damaged file', {
    remedy: `${damage.message} "plimsoll measure" reads what is there.`,
  })
}

/** Refuses a rate that the spec does not take; there is no resampler yet. */
export function refuseSampleRate({ path, format }: OpenedSource, spec: DeliverySpec): void {
  const accepted = spec.sampleRatesHz
  if (accepted === undefined || accepted.includes(format.sampleRateHz)) return
  throw refuse('JOBS_SAMPLE_RATE', `fit "${path}" to ${spec.title}`, `${format.sampleRateHz} Hz`, {
    wanted: `${accepted.join(' or ')} Hz`,
  })
}

/** What the engine is told of a programme. */
export function programmeOf({ layout, format, frameCount, bext, clock }: OpenedSource) {
  const { sampleRateHz } = format
  const timeReference = bext?.timeReferenceSamples ?? 0
  const startOfDaySeconds = timeReference === 0 ? null : timeReference / sampleRateHz
  return { layout, sampleRateHz, frameCount, startOfDaySeconds, ...(clock !== null && { clock }) }
}

/** The source of a delivery. The hash is made while the crew works; a failure is met where it is needed. */
export function orderedSource(
  source: OpenedSource,
  cancellation: AbortSignal | undefined,
  known: Promise<string> | null = null,
): DeliveryOrder['source'] {
  const { path, bext, findings, reels } = source
  const sha256 = known ?? (reels.length === 0 ? sha256Of(path, { cancellation }) : hashOfReels(reels, cancellation))
  sha256.catch(() => {})
  return {
    ...programmeOf(source),
    path: reels.length === 0 ? basename(path) : reels.map((reel) => basename(reel.path)).join(' + '),
    sha256,
    originatedOn: bext?.originationDate || null,
    findings,
  }
}

/** One hash for several files: that of their hashes, a line each. */
async function hashOfReels(reels: readonly OpenedSource[], cancellation: AbortSignal | undefined): Promise<string> {
  const hash = createHash('sha256')
  for (const { path } of reels) hash.update(`${await sha256Of(path, { cancellation })}\n`)
  return hash.digest('hex')
}

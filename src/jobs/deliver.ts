import { createHash } from 'node:crypto'
import { statfsSync, statSync } from 'node:fs'
import { availableParallelism, hostname } from 'node:os'
import { basename, join, resolve } from 'node:path'
import {
  BYTES_PER_SAMPLE,
  type DeliveredFile,
  type DeliveryReport,
  type DeliverySpec,
  type FitSettings,
  hasFoldDown,
  LAYOUTS,
  type LayoutName,
  type UpmixSettings,
} from '../domain/index.ts'
import {
  checksumLines,
  type DeliveryOutcome,
  deliverProgramme,
  fileNames,
  type ManifestFile,
  manifest,
  type Progress,
  planJson,
  reportJson,
  titleIdOf,
} from '../engine/index.ts'
import { type ChannelOptions, sha256Of } from '../media/index.ts'
import { renderReportHtml } from '../report/index.ts'
import { inTimecode, type TimecodeOptions } from './clock.ts'
import { DeliveryFolder, PLAN } from './delivery-folder.ts'
import { whileWriting } from './file-errors.ts'
import { refuseNonFinite } from './finite.ts'
import { createPlanes, planesBytes } from './planes-file.ts'
import { refuse } from './refusals.ts'
import { reportAssets } from './report-assets.ts'
import { isSameFile } from './same-file.ts'
import { type OpenedSource, openSource, orderedSource, refuseDamage, refuseSampleRate } from './source.ts'
import { TOOL_VERSION } from './tool.ts'
import { nonconformingName, type WavOutput, WavOutputs } from './wav-outputs.ts'
import { type JobOptions, withCrew } from './with-crew.ts'

export type DeliverOptions = JobOptions &
  ChannelOptions &
  TimecodeOptions & {
    readonly spec: DeliverySpec
    readonly out: string
    readonly upmix: UpmixSettings
    readonly fit: FitSettings
    readonly bitsPerSample: 16 | 24
    /** Names the files; absent: the source's file name. */
    readonly title?: string | undefined
    readonly replaces: boolean
    readonly keepsNonconforming: boolean
    readonly writesGain: boolean
  }

export type Delivery = {
  readonly report: DeliveryReport
  readonly isDelivered: boolean
  /** The page of the report: that of the delivery, or of the run that was not delivered. */
  readonly reportPath: string
}

const NOT_DELIVERED_PAGE = 'not-delivered.html'
const RUN_LOG = 'run.log'
/** Longest file name that the common file systems take. */
const LONGEST_NAME_BYTES = 255
const DOCUMENTS = { page: 'report.html', report: 'report.json', plan: PLAN, sums: 'sha256.txt' } as const

/** The whole job for one title: a source in, a delivery folder out, or nothing but the reasons. */
export async function deliver(
  path: string,
  options: DeliverOptions,
  progress?: (progress: Progress) => void,
): Promise<Delivery> {
  const folder = DeliveryFolder.open(options.out)
  try {
    const source = await openSource(path, () => folder.scratchPath, options, options.signal)
    refuseDamage(source)
    refuseMono(source)
    refuseSampleRate(source, options.spec)
    const outputs = planOutputs(source, options)
    refuseTaken(source, options, folder, outputs)
    refuseSmallDisk(source, folder, outputs)
    await refuseNonFinite(source, options.signal)
    return await run(source, options, folder, outputs, progress)
  } finally {
    folder.close()
  }
}

async function run(
  source: OpenedSource,
  options: DeliverOptions,
  folder: DeliveryFolder,
  outputs: readonly WavOutput[],
  progress: ((progress: Progress) => void) | undefined,
): Promise<Delivery> {
  const startedMs = performance.now()
  const isUpmix = source.layout === '2.0'
  const scratch = isUpmix ? { planes: createPlanes(folder.partPath('planes'), source.frameCount) } : {}
  const fixed = { source: source.location, ...scratch }
  const { report, ...made } = await withCrew(
    source,
    options,
    (crew, kernels) =>
      deliverProgramme(
        {
          tool: { version: TOOL_VERSION, kernelsSha256: kernels.sha256 },
          title: { id: titleOf(source, options), name: titleOf(source, options) },
          source: orderedSource(source, options.signal),
          spec: options.spec,
          upmix: isUpmix ? options.upmix : null,
          fit: options.fit,
          trims: [],
          locks: [],
          bitsPerSample: options.bitsPerSample,
          stereo: outputs.some((output) => output.role === 'lo-ro'),
          keepsNonconforming: options.keepsNonconforming,
          writesGain: options.writesGain,
        },
        crew,
        new WavOutputs(outputs, source, {
          partPath: (name) => folder.partPath(name),
          move: (places) => crew.move({ ...fixed, ...places }),
          cancellation: options.signal,
        }),
        progress === undefined ? {} : { progress },
      ),
    fixed,
  )
  const outcome = { ...made, report: { ...report, findings: inTimecode(report.findings, source.clock) } }
  const gain = options.writesGain && outcome.isDelivered ? [await gainFile(source, options, folder)] : []
  folder.writePart(RUN_LOG, runLog(source, options, performance.now() - startedMs))
  const page = putInPlace(outcome, folder, gain)
  folder.placeBesideIfPossible(RUN_LOG)
  return { report: outcome.report, isDelivered: outcome.isDelivered, reportPath: resolve(options.out, page) }
}

/** Puts a delivery in place, or the page that tells why there is none. Gives the name of the page. */
function putInPlace(
  { report, decision, isDelivered }: DeliveryOutcome,
  folder: DeliveryFolder,
  more: readonly ManifestFile[],
): string {
  const page = renderReportHtml(report, reportAssets())
  if (!isDelivered) {
    folder.writePart(NOT_DELIVERED_PAGE, page)
    folder.placeBeside(NOT_DELIVERED_PAGE)
    return NOT_DELIVERED_PAGE
  }
  const documents = [
    document(DOCUMENTS.page, page),
    document(DOCUMENTS.report, printJson(reportJson(report))),
    document(DOCUMENTS.plan, printJson(planJson(decision.plan, decision.stereoGainDb, report.settings))),
  ]
  const files = [...report.deliverables.map(listed), ...more, ...documents.map(({ text: _, ...file }) => file)]
  const checksums = document(DOCUMENTS.sums, checksumLines(files))
  for (const { path, text } of [...documents, checksums]) folder.writePart(path, text)
  const { text: _, ...checksumFile } = checksums
  folder.commit(manifest(report, [...files, checksumFile]))
  folder.removeBeside(NOT_DELIVERED_PAGE)
  return DOCUMENTS.page
}

/** The total gain of every frame, as a file of the delivery. */
async function gainFile(source: OpenedSource, options: DeliverOptions, folder: DeliveryFolder): Promise<ManifestFile> {
  const path = gainFileName(source, options)
  const part = folder.partPath(path)
  const sha256 = await sha256Of(part, { cancellation: options.signal })
  return { path, role: 'gain', bytes: statSync(part).size, sha256 }
}

function listed({ path, role, bytes, sha256 }: DeliveredFile): ManifestFile {
  return { path, role, bytes, sha256 }
}

function document(path: string, text: string): ManifestFile & { readonly text: string } {
  const sha256 = createHash('sha256').update(text).digest('hex')
  return { path, role: 'report', bytes: Buffer.byteLength(text), sha256, text }
}

function printJson(value: object): string {
  return `${JSON.stringify(value, null, 2)}\n`
}

/** A mono source has no two tracks to upmix and no fold-down to deliver. */
function refuseMono({ path, layout }: OpenedSource): void {
  if (layout !== 'mono') return
  throw refuse('JOBS_SOURCE_LAYOUT', `deliver "${path}"`, 'a mono source', {
    wanted: 'a stereo master, or a 5.0, 5.1 or 7.1 mix',
    remedy: 'Use "plimsoll fit", which keeps the layout.',
  })
}

/** The files that this source becomes: its 5.1 (or the layout it has) and the Lo/Ro stereo. */
function planOutputs(source: OpenedSource, options: DeliverOptions): readonly WavOutput[] {
  const layout: LayoutName = source.layout === '2.0' ? '5.1' : source.layout
  const encoding = options.bitsPerSample === 16 ? 'int16' : 'int24'
  const files = [
    { audio: 'multichannel', role: layout === '5.1' ? 'mix-5.1' : 'mix', layout, encoding },
    ...(hasFoldDown(layout) ? [{ audio: 'stereo', role: 'lo-ro', layout: '2.0', encoding } as const] : []),
  ] as const
  const gain = { audio: 'gain', role: null, layout: 'mono', encoding: 'float32' } as const
  const names = fileNames(titleOf(source, options), files)
  return [
    ...files.map((file, index) => ({ ...file, name: names[index] as string })),
    ...(options.writesGain ? [{ ...gain, name: gainFileName(source, options) }] : []),
  ]
}

function titleOf(source: OpenedSource, options: DeliverOptions): string {
  return titleIdOf(options.title ?? basename(source.path))
}

function gainFileName(source: OpenedSource, options: DeliverOptions): string {
  return `${titleOf(source, options)}_gain.wav`
}

/** Outputs never stand on a source, and on an earlier delivery only by the user's word. */
function refuseTaken(
  source: OpenedSource,
  options: DeliverOptions,
  folder: DeliveryFolder,
  outputs: readonly WavOutput[],
): void {
  const audio = outputs.map(({ name }) => (options.keepsNonconforming ? [name, nonconformingName(name)] : [name]))
  const names = [...audio.flat(), ...Object.values(DOCUMENTS)]
  // A commit also removes what the old delivery had and the new one has not.
  for (const name of [...names, RUN_LOG, NOT_DELIVERED_PAGE, ...folder.deliveredNames]) {
    if (!isSameFile(join(options.out, name), source.path)) continue
    throw refuse('JOBS_OUTPUT_IS_SOURCE', `deliver into "${options.out}"`, `the source itself there, as "${name}"`)
  }
  const tooLong = audio.flat().find((name) => Buffer.byteLength(`${nonconformingName(name)}.part`) > LONGEST_NAME_BYTES)
  if (tooLong !== undefined) {
    throw refuse('JOBS_OUTPUT_NOT_WRITABLE', `write "${tooLong}"`, 'a name that is too long for a file', {
      wanted: `at most ${LONGEST_NAME_BYTES} bytes with all that is added to it`,
      remedy: 'Give a shorter name with --title.',
    })
  }
  const blocked = folder.firstBlocked([...names, RUN_LOG, NOT_DELIVERED_PAGE])
  if (blocked !== null) {
    throw refuse('JOBS_OUTPUT_EXISTS', `deliver into "${options.out}"`, `a folder "${blocked}" there`, {
      remedy: 'Name another --out folder, or move that one away.',
    })
  }
  const taken = folder.firstTaken(names)
  if (taken !== null && !options.replaces) {
    throw refuse('JOBS_OUTPUT_EXISTS', `deliver into "${options.out}"`, `"${taken}" there already`, {
      remedy: 'Name another --out folder, or add --replace.',
    })
  }
}

/** A full disk would show only after minutes of work, so the room is looked at first. */
function refuseSmallDisk(source: OpenedSource, folder: DeliveryFolder, outputs: readonly WavOutput[]): void {
  const outputsBytes = outputs.reduce((sum, output) => sum + outputBytes(output) * source.frameCount, 0)
  const needed = outputsBytes + (source.layout === '2.0' ? planesBytes(source.frameCount) : 0)
  const disk = whileWriting(folder.path, () => statfsSync(folder.path))
  const free = disk.bavail * disk.bsize
  if (free >= needed) return
  throw refuse('JOBS_DISK_FULL', `deliver into "${folder.path}"`, `${megabytes(free)} free`, {
    wanted: `${megabytes(needed)} for the deliverables and the scratch planes`,
  })
}

function outputBytes({ layout, encoding }: WavOutput): number {
  return LAYOUTS[layout].length * BYTES_PER_SAMPLE[encoding]
}

function megabytes(bytes: number): string {
  return `${Math.ceil(bytes / 1e6)} MB`
}

/** What differs from run to run: times and host. Outside the manifest. */
function runLog(source: OpenedSource, options: DeliverOptions, elapsedMs: number): string {
  const realTime = (source.frameCount / source.format.sampleRateHz / elapsedMs) * 1000
  return [
    `finished ${new Date().toISOString()} on ${hostname()}`,
    `source ${resolve(source.path)}`,
    `workers ${options.workers ?? availableParallelism()}`,
    `took ${(elapsedMs / 1000).toFixed(2)} s, ${realTime.toFixed(1)} x real time`,
    '',
  ].join('\n')
}

import { createHash } from 'node:crypto'
import { statfsSync, statSync } from 'node:fs'
import { availableParallelism, hostname } from 'node:os'
import { join, resolve } from 'node:path'
import {
  BYTES_PER_SAMPLE,
  type DeliveredFile,
  type DeliveryReport,
  hasFoldDown,
  LAYOUTS,
  type LayoutName,
  type StereoRole,
  stereoRoleOf,
  type UpmixPlan,
} from '../domain/index.ts'
import {
  checksumLines,
  type DeliveryOrder,
  type DeliveryOutcome,
  deliverProgramme,
  fileNames,
  type ManifestFile,
  manifest,
  type Progress,
  planJson,
  reportJson,
} from '../engine/index.ts'
import { sha256Of } from '../media/index.ts'
import { alterationPicture, renderReportHtml, renderReportPdf } from '../report/index.ts'
import { ENDINGS_BESIDE, type RoleBeside, rolesBeside, soundBeside, type WantedBeside } from './beside-delivery.ts'
import { inTimecode } from './clock.ts'
import { DeliveryFolder, PLAN } from './delivery-folder.ts'
import { whileWriting } from './file-errors.ts'
import { refuseNonFinite } from './finite.ts'
import { createPlanes, planesBytes } from './planes-file.ts'
import { readTracks } from './read-tracks.ts'
import { refuse } from './refusals.ts'
import { paperFonts, reportAssets } from './report-assets.ts'
import { isSameFile } from './same-file.ts'
import { sheetRefusal } from './sheet.ts'
import { type OpenedSource, refuseDamage, refuseSampleRate } from './source.ts'
import {
  askedOf,
  identityOf,
  inputsOf,
  type NamedTitle,
  nameTitle,
  openTitle,
  orderedTitle,
  specOrRefusal,
  type Title,
  type TitleOptions,
} from './title.ts'
import { TOOL_VERSION } from './tool.ts'
import { nonconformingName, type WavOutput, WavOutputs } from './wav-outputs.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

export type DeliverOptions = JobOptions &
  TitleOptions &
  WantedBeside & {
    readonly out: string
    readonly bitsPerSample: 16 | 24
    /** Names the files; absent: the sheet's id, else the source's file name. */
    readonly title?: string | undefined
    readonly replaces: boolean
    readonly keepsNonconforming: boolean
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
const DOCUMENTS = {
  page: 'report.html',
  paper: 'report.pdf',
  report: 'report.json',
  plan: PLAN,
  sums: 'sha256.txt',
} as const

/** The whole job for one title: a source or its sheet in, a delivery folder out, or nothing but the reasons. */
export async function deliver(
  path: string,
  options: DeliverOptions,
  progress?: (progress: Progress) => void,
): Promise<Delivery> {
  const folder = DeliveryFolder.open(options.out)
  try {
    const named = await nameTitle([path])
    const title = await openTitle(named, () => folder.scratchPath, options)
    const { source } = title
    const spec = specOrRefusal(title)
    refuseDamage(source)
    refuseMono(source)
    refuseSampleRate(source, spec)
    const plans = stereoRolesOf(title).map((role) => planOutputs(title, options, role))
    refuseOtherDeliverables(named, plans)
    refuseTaken(inputsOf(named), options, folder, [
      ...plans.flat().map(({ name }) => name),
      ...rolesBeside(options).map((role) => nameBeside(title, options, role)),
    ])
    refuseSmallDisk(source, folder, plans[0] as OutputPlan)
    await refuseNonFinite(source, options.signal)
    return await run(title, named, options, folder, plans, progress)
  } finally {
    folder.close()
  }
}

async function run(
  title: Title,
  named: NamedTitle,
  options: DeliverOptions,
  folder: DeliveryFolder,
  plans: readonly OutputPlan[],
  progress: ((progress: Progress) => void) | undefined,
): Promise<Delivery> {
  const startedMs = performance.now()
  const { source } = title
  const isUpmix = source.layout === '2.0'
  const scratch = isUpmix ? { planes: createPlanes(folder.partPath('planes'), source.frameCount) } : {}
  const opened = { source: source.location, ...scratch }
  const listens = isListening(options)
  const { report, ...made } = await withCrew(
    source,
    { ...options, listens },
    async (crew, kernels) => {
      const ordered = orderedTitle(title, options.signal)
      const { settings } = title.upmix
      const way = { scratchFolder: () => folder.scratchPath, listens, progress }
      const read = isUpmix ? await readTracks(source, settings, crew, opened, way) : null
      const upmix = read === null ? null : { ...title.upmix, reading: read.reading }
      const outputs = settledPlan(plans, upmix)
      refuseOtherDeliverables(named, [outputs])
      const fixed = read?.places ?? opened
      const outcome = await deliverProgramme(
        {
          tool: { version: TOOL_VERSION, kernelsSha256: kernels.sha256 },
          title: deliveredTitle(title, options),
          source: { ...ordered, findings: [...ordered.findings, ...(read?.findings ?? [])] },
          spec: specOrRefusal(title),
          upmix,
          fit: title.fit,
          listens,
          heard: read?.heard ?? null,
          ...askedOf(title),
          bitsPerSample: bitsOf(title, options),
          stereo: outputs.some(({ audio }) => audio === 'stereo'),
          keepsNonconforming: options.keepsNonconforming,
          writesGain: options.writesGain,
          writesDifference: options.writesDifference,
        },
        crew,
        new WavOutputs(outputs, source, {
          partPath: (name) => folder.partPath(name),
          move: (places) => crew.move({ ...fixed, ...places }),
          cancellation: options.signal,
        }),
        progress === undefined ? {} : { progress },
      )
      return { ...outcome, upmix }
    },
    opened,
  )
  const outcome = { ...made, report: { ...report, findings: inTimecode(report.findings, source.clock) } }
  const { isDelivered } = outcome
  if (isDelivered && options.drawsPicture) {
    folder.writePart(nameBeside(title, options, 'picture'), alterationPicture(outcome.report))
  }
  const beside = isDelivered ? await filesBeside(title, options, folder) : []
  folder.writePart(RUN_LOG, runLog(source, options, performance.now() - startedMs))
  const page = await putInPlace(outcome, folder, beside)
  folder.placeBesideIfPossible(RUN_LOG)
  return { report: outcome.report, isDelivered, reportPath: resolve(options.out, page) }
}

/** Puts a delivery in place, or the page that tells why there is none. Gives the name of the page. */
async function putInPlace(
  { report, decision, isDelivered, upmix }: DeliveryOutcome & { readonly upmix: UpmixPlan | null },
  folder: DeliveryFolder,
  more: readonly ManifestFile[],
): Promise<string> {
  const page = renderReportHtml(report, reportAssets())
  if (!isDelivered) {
    folder.writePart(NOT_DELIVERED_PAGE, page)
    folder.placeBeside(NOT_DELIVERED_PAGE)
    return NOT_DELIVERED_PAGE
  }
  const documents = [
    document(DOCUMENTS.page, page),
    document(DOCUMENTS.paper, await renderReportPdf(report, paperFonts)),
    document(DOCUMENTS.report, printJson(reportJson(report))),
    document(DOCUMENTS.plan, printJson(planJson(decision.plan, decision.stereoGainDb, report.settings, upmix))),
  ]
  const files = [...report.deliverables.map(listed), ...more, ...documents.map(({ content: _, ...file }) => file)]
  const checksums = document(DOCUMENTS.sums, checksumLines(files))
  for (const { path, content } of [...documents, checksums]) folder.writePart(path, content)
  const { content: _, ...checksumFile } = checksums
  folder.commit(manifest(report, [...files, checksumFile]))
  folder.removeBeside(NOT_DELIVERED_PAGE)
  return DOCUMENTS.page
}

/** The files that lie in a delivery beside its mixes: the gain of every frame, what was done beyond the static gain, a picture of it. */
function filesBeside(title: Title, options: DeliverOptions, folder: DeliveryFolder): Promise<ManifestFile[]> {
  return Promise.all(
    rolesBeside(options).map(async (role) => {
      const path = nameBeside(title, options, role)
      const part = folder.partPath(path)
      const sha256 = await sha256Of(part, { cancellation: options.signal })
      return { path, role, bytes: statSync(part).size, sha256 }
    }),
  )
}

function listed({ path, role, bytes, sha256 }: DeliveredFile): ManifestFile {
  return { path, role, bytes, sha256 }
}

function document(
  path: string,
  content: string | Uint8Array,
): ManifestFile & { readonly content: string | Uint8Array } {
  const sha256 = createHash('sha256').update(content).digest('hex')
  return { path, role: 'report', bytes: Buffer.byteLength(content), sha256, content }
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

/** The WAV files that a title becomes. */
type OutputPlan = readonly WavOutput[]

/** What the stereo of a delivery may be; two answers where only the tracks themselves can tell. */
function stereoRolesOf({ source, upmix }: Title): readonly StereoRole[] {
  if (source.layout !== '2.0') return ['lo-ro']
  return upmix.settings.kind === 'auto' ? ['lo-ro', 'lt-rt'] : [stereoRoleOf(upmix)]
}

/** Of the plans the one whose stereo is what the tracks were found to be. */
function settledPlan(plans: readonly OutputPlan[], upmix: UpmixPlan | null): OutputPlan {
  const role = stereoRoleOf(upmix)
  return (plans.find((outputs) => outputs.some((output) => output.role === role)) ?? plans[0]) as OutputPlan
}

/** The files that this title becomes: its 5.1 (or the layout it has) and the stereo. */
function planOutputs(title: Title, options: DeliverOptions, stereoRole: StereoRole): OutputPlan {
  const { source } = title
  const layout: LayoutName = source.layout === '2.0' ? '5.1' : source.layout
  const encoding = bitsOf(title, options) === 16 ? 'int16' : 'int24'
  const files = [
    { audio: 'multichannel', role: layout === '5.1' ? 'mix-5.1' : 'mix', layout, encoding },
    ...(hasFoldDown(layout) ? [{ audio: 'stereo', role: stereoRole, layout: '2.0', encoding } as const] : []),
  ] as const
  const { id } = identityOf(title, options.title)
  const inSheet = (role: string) => title.sheet?.deliverables.find((file) => file.role === role)?.name ?? null
  const names = fileNames(id, files).map((name, index) => {
    const asked = inSheet((files[index] as (typeof files)[number]).role)
    return asked === null ? name : asked.replaceAll('{id}', id)
  })
  return [
    ...files.map((file, index) => ({ ...file, name: names[index] as string })),
    ...soundBeside(options).map(
      (audio): WavOutput => ({
        audio,
        role: null,
        layout: audio === 'gain' ? 'mono' : layout,
        encoding: 'float32',
        name: nameBeside(title, options, audio),
      }),
    ),
  ]
}

/** A sheet may name the files that a delivery makes, by one of the plans, and no others. */
function refuseOtherDeliverables({ onDisk }: NamedTitle, plans: readonly OutputPlan[]): void {
  if (onDisk === null || onDisk.sheet.deliverables.length === 0) return
  const asked = onDisk.sheet.deliverables.map(({ role }) => role as string)
  const possible = plans.map((outputs) => outputs.flatMap(({ role }) => role ?? []))
  if (possible.some((made) => asked.length === made.length && made.every((role) => asked.includes(role)))) return
  const made = possible.map((roles) => roles.join(' and ')).join(', or ')
  const needed = `${made}, which is what a delivery of this source holds; or leave "deliverables" out`
  throw sheetRefusal(onDisk.path, [{ path: 'deliverables', found: asked.join(' and '), needed, nearest: null }])
}

/** A title without a sheet is named in its report as its files are. */
function deliveredTitle(title: Title, options: DeliverOptions): DeliveryOrder['title'] {
  const identity = identityOf(title, options.title)
  return title.sheet === null ? { ...identity, name: identity.id } : identity
}

/** The word length that the sheet asks for, else that of the command. */
function bitsOf({ sheet }: Title, { bitsPerSample }: DeliverOptions): 16 | 24 {
  return sheet?.deliverables[0]?.bits ?? bitsPerSample
}

function nameBeside(title: Title, options: DeliverOptions, role: RoleBeside): string {
  return `${identityOf(title, options.title).id}_${ENDINGS_BESIDE[role]}`
}

/** Outputs never stand on a source, and on an earlier delivery only by the user's word. */
function refuseTaken(
  inputs: readonly string[],
  options: DeliverOptions,
  folder: DeliveryFolder,
  outputs: readonly string[],
): void {
  const audio = outputs.map((name) => (options.keepsNonconforming ? [name, nonconformingName(name)] : [name]))
  const names = [...audio.flat(), ...Object.values(DOCUMENTS)]
  // A commit also removes what the old delivery had and the new one has not.
  for (const name of [...names, RUN_LOG, NOT_DELIVERED_PAGE, ...folder.deliveredNames]) {
    if (!inputs.some((input) => isSameFile(join(options.out, name), input))) continue
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

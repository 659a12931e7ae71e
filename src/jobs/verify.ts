import { existsSync, statSync } from 'node:fs'
import { join } from 'node:path'
import type { DeliverySpec, Finding, FoldDownLock, FrameRange, Margin, Measurements, Refusal } from '../domain/index.ts'
import { type ManifestFile, type Progress, verifyDelivery, type WrittenFile } from '../engine/index.ts'
import { sha256Of } from '../media/index.ts'
import type { TimecodeOptions } from './clock.ts'
import { finishInterrupted, readManifest, readPlan } from './delivery-folder.ts'
import { leftOut } from './left-out.ts'
import { measureFile } from './measure.ts'
import { refuse } from './refusals.ts'
import { isSheet } from './sheet.ts'
import { insteadOfUntold, type OpenedSource, openSource, programmeOf } from './source.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

export type VerifiedDelivery = {
  readonly conforms: boolean
  readonly files: readonly {
    readonly path: string
    readonly role: string
    readonly measurements: Measurements
  }[]
  readonly foldDownLock: FoldDownLock | null
  readonly findings: readonly Finding[]
  readonly margins: readonly Margin[]
}

export type VerifyOptions = JobOptions & TimecodeOptions & { readonly spec: DeliverySpec }

/** Checks a delivery folder, or a single file, from its bytes alone: checksums, spec, the lock of its stereo. */
export async function verify(
  path: string,
  options: VerifyOptions,
  progress?: (progress: Progress) => void,
): Promise<VerifiedDelivery> {
  if (!existsSync(path) || !statSync(path).isDirectory()) {
    if (isSheet(path)) throw refuseSheet(path)
    return verifyFile(path, options, progress)
  }
  finishInterrupted(path)
  const manifest = await readManifest(path)
  if (manifest === null) throw refuse('JOBS_NOT_A_DELIVERY', `verify "${path}"`, 'no manifest.json that can be read')

  const damage = await checkAgainstManifest(path, manifest.files, options.signal)
  const findings = [...damage.values()]
  if (!manifest.files.some((file) => file.role in AUDIO_NAMES)) findings.push(withoutAudio())
  const audio = manifest.files.filter((file) => file.role in AUDIO_NAMES && !damage.has(file))
  if (audio.length === 0) return { conforms: false, files: [], foldDownLock: null, findings, margins: [] }
  return verifyAudio(path, audio, findings, options, progress)
}

const AUDIO_NAMES: Readonly<Record<string, 'multichannel' | 'stereo'>> = {
  'mix-5.1': 'multichannel',
  mix: 'multichannel',
  'lo-ro': 'stereo',
  'lt-rt': 'stereo',
}

function openedOf(path: string, folder: string, options: VerifyOptions): Promise<OpenedSource> {
  return openSource(path, () => folder, options).catch(insteadOfUntold((found) => nobodyCanTell(path, found)))
}

/** What a sheet says is not made yet. */
function refuseSheet(path: string): Refusal {
  return refuse('JOBS_NOT_A_DELIVERY', `verify "${path}"`, 'a sheet', {
    wanted: 'a delivery folder or an audio file',
    remedy: 'Name what was delivered from it; "plimsoll measure" tells how its sources stand.',
  })
}

/** A delivery has to speak for itself. */
function nobodyCanTell(path: string, found: string): Refusal {
  return refuse('JOBS_LAYOUT_UNKNOWN', `verify "${path}"`, found, {
    wanted: 'a header that says what the channels are',
    remedy: 'Write the file again with a channel mask; "plimsoll measure --order" reads it as it is.',
  })
}

async function verifyAudio(
  folder: string,
  listed: readonly ManifestFile[],
  damage: readonly Finding[],
  options: VerifyOptions,
  progress: ((progress: Progress) => void) | undefined,
): Promise<VerifiedDelivery> {
  const opened = await Promise.all(
    listed.map(async (file) => ({ file, source: await openedOf(join(folder, file.path), folder, options) })),
  )
  const [main] = opened as [(typeof opened)[number]]
  const uneven = opened.find(({ source }) => source.frameCount !== main.source.frameCount)
  if (uneven !== undefined) {
    const findings = [...damage, unevenLengths(main.source, uneven.source)]
    return { conforms: false, files: [], foldDownLock: null, findings, margins: [] }
  }
  const written = opened.map(({ file, source }) => writtenFile(file, source))
  const places = Object.fromEntries(opened.map(({ file, source }) => [AUDIO_NAMES[file.role], source.location]))
  const stretches = plannedProgramme(folder, main.source.frameCount)
  const programme = { ...programmeOf(main.source), programme: stretches }
  const watch = progress === undefined ? {} : { progress }
  const listens = isListening(options)
  const { files, lock, judgement } = await withCrew(
    main.source,
    { ...options, listens },
    (crew) => verifyDelivery(crew, programme, written, options.spec, toldOfStereo(folder, written), watch, listens),
    places,
  )
  const planned = (stretches ?? []).map((range) => ({ ...range, kind: 'programme' }))
  const findings = [...damage, ...leftOut(planned, main.source, 'the plan'), ...judgement.findings]
  return {
    conforms: findings.every((finding) => finding.severity !== 'fail'),
    files: files.map(({ role, measurements }, index) => ({
      path: (listed[index] as ManifestFile).path,
      role,
      measurements,
    })),
    foldDownLock: lock,
    findings,
    margins: judgement.margins,
  }
}

/** The stretches that the plan of a delivery calls programme; absent: all of it, or a plan that makes no sense. */
function plannedProgramme(folder: string, frameCount: number): readonly FrameRange[] | undefined {
  const programme = readPlan(folder)?.programme ?? []
  let reached = 0
  for (const { startFrame, endFrame } of programme) {
    if (!(startFrame >= reached && endFrame > startFrame && endFrame <= frameCount)) return undefined
    reached = endFrame
  }
  return programme.length === 0 ? undefined : programme
}

/** What the plan of a delivery says of its stereo; the usual where there is no plan to read. */
function toldOfStereo(folder: string, written: readonly WrittenFile[]) {
  const plan = readPlan(folder)
  const { frontSpread = 1, anchor: asked, stages } = plan?.settings ?? {}
  const stereoGainDb = plan?.stereoGainDb ?? 0
  const spreads = [frontSpread, ...(plan?.scenes ?? []).map(({ settings }) => settings?.frontSpread ?? 1)]
  // The fronts of a decoded Lt/Rt are what its law leaves, whatever spread was asked for.
  const isDecoded = written.some(({ role }) => role === 'lt-rt')
  const openedBy = [
    ...(spreads.every((spread) => spread === 1) || isDecoded ? [] : ['frontSpread']),
    ...(stereoGainDb === 0 ? [] : ['stereoGain']),
  ]
  const anchor = stages === 'trims' ? null : asked === 'balanced' && stereoGainDb === 0 ? 'balanced' : '5.1'
  return { openedBy, stereoGainDb, anchor } as const
}

async function verifyFile(
  path: string,
  options: VerifyOptions,
  progress: ((progress: Progress) => void) | undefined,
): Promise<VerifiedDelivery> {
  const { conforms, findings, margins, ...measured } = await measureFile(path, options, progress).catch(
    insteadOfUntold((found) => nobodyCanTell(path, found)),
  )
  return {
    conforms,
    files: [{ path, role: 'mix', measurements: measured.measurements }],
    foldDownLock: null,
    findings,
    margins,
  }
}

function writtenFile(file: ManifestFile, source: OpenedSource): WrittenFile {
  return {
    audio: AUDIO_NAMES[file.role] as WrittenFile['audio'],
    role: file.role as WrittenFile['role'],
    layout: source.layout,
    bitsPerSample: source.bitsPerSample,
  }
}

/** Every file of the manifest must be there, byte for byte. */
async function checkAgainstManifest(
  folder: string,
  files: readonly ManifestFile[],
  cancellation: AbortSignal | undefined,
): Promise<ReadonlyMap<ManifestFile, Finding>> {
  const damage = new Map<ManifestFile, Finding>()
  for (const file of files) {
    const path = join(folder, file.path)
    if (!existsSync(path)) damage.set(file, damaged('file-missing', `"${file.path}" of the manifest is missing.`))
    else if (statSync(path).size !== file.bytes || (await sha256Of(path, { cancellation })) !== file.sha256) {
      damage.set(
        file,
        damaged(
          'checksum',
          `"${file.path}" is not the file that was delivered: its checksum differs from the manifest's.`,
        ),
      )
    }
  }
  return damage
}

function withoutAudio(): Finding {
  return damaged('no-audio', 'The manifest lists no audio, so there is nothing to hold against the spec.')
}

function unevenLengths(main: OpenedSource, other: OpenedSource): Finding {
  return damaged(
    'length',
    `The files are not equally long: ${main.frameCount} frames in "${main.path}", ${other.frameCount} in "${other.path}".`,
  )
}

function damaged(id: string, message: string): Finding {
  return {
    id,
    severity: 'fail',
    line: null,
    measured: null,
    allowed: null,
    unit: null,
    at: null,
    source: 'manifest.json of the delivery',
    message,
  }
}

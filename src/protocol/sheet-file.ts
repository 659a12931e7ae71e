import { z } from 'zod'
import {
  CUSTOMARY_UPMIX_GLIDE_MS,
  FIT_PARAMETERS,
  type FileProblem,
  LONGEST_UPMIX_GLIDE_MS,
  type Parameter,
  type ParameterTable,
  SEGMENT_KINDS,
  SHORTEST_UPMIX_GLIDE_MS,
  type Sheet,
  UPMIX_PARAMETERS,
  UPMIX_STARTS,
  WAIVABLE_LINES,
} from '../domain/index.ts'
import { describeIssues, type FileWords } from './file-problems.ts'

const time = z.string().min(1)
const stretch = {
  from: time.describe('First instant: HH:MM:SS:FF with timecode, else H:MM:SS.mmm'),
  to: time.describe('The instant behind the last'),
}

/** Gains that a person draws by hand; what lies outside is a slip of the pen. Our own bounds. */
const TRIM_GAIN_DB = z.number().min(-60).max(24)
/** Ride points stand 100 ms apart, so no glide is shorter. */
const SHORTEST_GLIDE_MS = 100
const GLIDE_MS = z.number().min(SHORTEST_GLIDE_MS).max(10_000)

const UPMIX_GLIDE_MS = z.number().min(SHORTEST_UPMIX_GLIDE_MS).max(LONGEST_UPMIX_GLIDE_MS)

/** What may differ from scene to scene. */
const SCENE_PARAMETERS: ParameterTable = Object.fromEntries(
  Object.entries<Parameter>(UPMIX_PARAMETERS).filter(([, row]) => row.glide !== 'fixed'),
)

/** Values of a parameter table, each optional, within its range. */
function settingsOf(table: ParameterTable) {
  const rows = Object.entries(table).map(([name, row]) => {
    const value = row.kind === 'choice' ? z.enum(row.choices) : z.number().min(row.min).max(row.max)
    return [name, value.optional().describe(row.sentence)]
  })
  return z.strictObject(Object.fromEntries(rows) as Record<string, z.ZodOptional<z.ZodNumber | z.ZodEnum>>)
}

const trim = z.strictObject({
  ...stretch,
  gainDb: TRIM_GAIN_DB,
  glideMs: GLIDE_MS.optional().describe(`How long the gain takes at each border; ${SHORTEST_GLIDE_MS} where not said`),
  reason: z.string().optional(),
})
const lock = z.strictObject({
  ...stretch,
  toleranceDb: z.number().min(0).max(60).describe('How far the gain may move from the static gain; 0: not at all'),
})
const BESIDE_STATIC_DB = z.number().min(-60).max(20)
const limit = z.strictObject({
  ...stretch,
  lowestDb: BESIDE_STATIC_DB.describe('The ride goes no lower than this beside the static gain'),
  highestDb: BESIDE_STATIC_DB.describe('Nor higher than this; below 0 it must come down so far at least'),
})
const handRide = z.strictObject({
  ...stretch,
  points: z
    .array(z.strictObject({ at: time.describe('An instant of the stretch'), gainDb: TRIM_GAIN_DB }))
    .min(1)
    .describe('In order of time; linear in dB between them, held before the first and after the last'),
  reason: z.string().optional(),
})
const scene = z.strictObject({
  name: z.string().min(1).optional(),
  ...stretch,
  glideInMs: UPMIX_GLIDE_MS.optional().describe(
    `How long the change at its beginning takes, centred on it; ${CUSTOMARY_UPMIX_GLIDE_MS} where not said`,
  ),
  glideOutMs: UPMIX_GLIDE_MS.optional().describe('The same at its end'),
  reason: z.string().min(1).optional().describe('Why it has these settings'),
  settings: settingsOf(SCENE_PARAMETERS).optional().describe('What differs from the settings outside of it'),
})
const upmix = z.strictObject({
  start: z
    .enum(UPMIX_STARTS.map(({ id }) => id))
    .optional()
    .describe('Settings to start from, by what the programme is; "settings" goes over them'),
  settings: settingsOf(UPMIX_PARAMETERS).optional(),
  scenes: z.array(scene).optional().describe('Stretches with settings of their own; none over another'),
})
const segment = z.strictObject({ kind: z.enum(SEGMENT_KINDS), name: z.string().min(1).optional(), ...stretch })
const source = z.strictObject({
  path: z.string().min(1).describe('Relative to the sheet'),
  role: z.literal('programme').optional(),
  layout: z.enum(['mono', '2.0', '5.0', '5.1', '7.1']).optional(),
  kind: z
    .enum(UPMIX_PARAMETERS.kind.choices)
    .optional()
    .describe('What a two-track is: plain stereo, Lt/Rt to be decoded, or what is found; the same in every reel'),
  order: z.enum(['itu', 'film', 'aac']).optional(),
  sha256: z
    .string()
    .regex(/^[0-9a-f]{6,64}$/)
    .optional()
    .describe('Hash of the file, or its first digits (six at least): a file that has another is refused'),
})
/** A line of the spec by the field of its measurement; one on a band by its id. */
const waivable = z.union([
  z.enum(WAIVABLE_LINES),
  z.string().regex(/^bandLevels[.][a-z0-9]+(-[a-z0-9]+)*$/, { abort: true }),
])
const override = z.strictObject({
  targetLkfs: z.number().min(-60).max(0).optional(),
  toleranceBelowLu: z.number().positive().max(10).optional(),
  toleranceAboveLu: z.number().positive().max(10).optional(),
  maxTruePeakDbtp: z.number().min(-30).max(3).optional(),
  maxLfeTruePeakDbtp: z.number().min(-30).max(3).optional(),
  maxLfeShortTermDbfs: z.number().min(-60).max(0).optional(),
  maxLfeOverFrontsDb: z.number().min(-40).max(40).optional(),
  maxShortTermLkfs: z.number().min(-60).max(0).optional(),
  maxMomentaryLkfs: z.number().min(-60).max(0).optional(),
  maxLoudnessRangeLu: z.number().positive().max(60).optional(),
})
const deliverable = z.strictObject({
  role: z.enum(['mix-5.1', 'lo-ro', 'lt-rt', 'mix']),
  container: z.literal('wav').optional(),
  bits: z.union([z.literal(16), z.literal(24)]).optional(),
  order: z.literal('itu').optional(),
  name: z
    .string()
    .regex(/^[^/\\\0]+[.]wav$/)
    .optional()
    .describe('File name; {id} stands for the id of the title'),
})

/** A title's decisions as they stand in a file. */
export const sheetFile = z
  .strictObject({
    $schema: z.string().optional(),
    sheetVersion: z.literal(1).describe('Version of this file format'),
    title: z.strictObject({
      id: z.string().regex(/^[A-Za-z0-9][A-Za-z0-9._-]*$/),
      name: z.string().min(1),
      language: z.string().min(1).optional().describe('e.g. en-GB'),
      deliveredOn: z
        .string()
        .regex(/^\d{4}-\d{2}-\d{2}$/)
        .optional(),
    }),
    timecode: z
      .strictObject({
        rate: z.string().min(1).describe('Frames a second, e.g. 25 or 29.97'),
        dropFrame: z.boolean().optional(),
        start: time.describe('Label of the first frame of the first source'),
      })
      .optional(),
    sources: z.array(source).min(1).describe('One file, or reels in order'),
    segments: z.array(segment).optional().describe('The map of what lies on the file; none: all of it is programme'),
    picture: z
      .strictObject({
        from: time.describe('Where the picture beside it begins: an instant of the programme, or one before it'),
      })
      .optional(),
    spec: z
      .strictObject({
        id: z.string().min(1).optional(),
        path: z.string().min(1).optional().describe('A spec file, relative to the sheet'),
        edition: z.string().min(1).optional(),
        override: override.optional(),
      })
      .optional(),
    upmix: upmix.optional(),
    fit: z
      .strictObject({
        anchor: z.enum(FIT_PARAMETERS.anchor.choices).optional(),
        settings: settingsOf(FIT_PARAMETERS).optional(),
        trims: z.array(trim).optional(),
        locks: z.array(lock).optional(),
        limits: z.array(limit).optional().describe('Stretches where the ride is told how low and how high'),
        handRides: z.array(handRide).optional().describe('Rides of your own, drawn or recorded by hand'),
      })
      .optional(),
    waivers: z.array(z.strictObject({ line: waivable, reason: z.string().min(1) })).optional(),
    deliverables: z.array(deliverable).min(1).optional(),
  })
  .describe("A title's decisions for Plimsoll")

type SheetFile = z.infer<typeof sheetFile>

export type SheetReading =
  | { readonly sheet: Sheet; readonly problems: null }
  | { readonly sheet: null; readonly problems: readonly FileProblem[] }

/** Parts of a title that belong in a sheet and that this version cannot obey yet: never passed over in silence. */
const NOT_YET: Readonly<Record<string, string>> = {
  followers: 'a sheet without followers: stems and versions cannot follow the mix yet',
}

/** Reads a sheet (parsed JSON); gives every problem at once, each with its place and its remedy. */
export function readSheetFile(value: unknown): SheetReading {
  const parsed = sheetFile.safeParse(value)
  if (!parsed.success) {
    const problems = describeIssues(parsed.error.issues, value, WORDS).map((problem) => {
      const needed = NOT_YET[problem.path]
      return needed === undefined ? problem : { ...problem, found: inSheet(value, problem.path), needed, nearest: null }
    })
    return { sheet: null, problems }
  }
  const problems = contradictions(parsed.data)
  return problems.length > 0 ? { sheet: null, problems } : { sheet: toSheet(parsed.data), problems: null }
}

/** The JSON Schema of a sheet, for editors. */
export function sheetFileSchema(): object {
  return z.toJSONSchema(sheetFile, { io: 'input' })
}

/** The text of a sheet: the same sheet gives the same text, and what is not said is left out. */
export function sheetJson(sheet: Sheet): string {
  const { title, timecode, sources, segments, picture, spec, upmix, fit, waivers, deliverables } = sheet
  const file = {
    sheetVersion: 1,
    title: said(title),
    timecode: timecode === null ? undefined : said(timecode),
    sources: sources.map(({ path, layout, kind, order, sha256 }) =>
      said({ path, role: 'programme', layout, kind, order, sha256 }),
    ),
    segments: listed(segments.map(({ kind, name, from, to }) => said({ kind, name, from, to }))),
    picture,
    spec: spec === null ? undefined : said({ ...spec, override: filled(spec.override) }),
    upmix: filled({
      start: upmix.start,
      settings: filled(upmix.settings),
      scenes: listed(
        upmix.scenes.map(({ name, from, to, glideInMs, glideOutMs, reason, settings: own }) =>
          said({ name, from, to, glideInMs, glideOutMs, reason, settings: filled(own) }),
        ),
      ),
    }),
    fit: filled({
      settings: filled(fit.settings),
      trims: listed(
        fit.trims.map(({ from, to, gainDb, glideMs, reason }) => said({ from, to, gainDb, glideMs, reason })),
      ),
      locks: listed(fit.locks.map(({ from, to, toleranceDb }) => ({ from, to, toleranceDb }))),
      limits: listed(
        (fit.limits ?? []).map(({ from, to, lowestDb, highestDb }) => ({ from, to, lowestDb, highestDb })),
      ),
      handRides: listed(
        (fit.handRides ?? []).map(({ from, to, points, reason }) => said({ from, to, points, reason })),
      ),
    }),
    waivers: listed(waivers),
    deliverables: listed(deliverables.map(({ role, bits, name }) => said({ role, container: 'wav', bits, name }))),
  }
  return `${JSON.stringify(file, null, 2)}\n`
}

function toSheet(file: SheetFile): Sheet {
  const { title, timecode, sources, segments = [], picture, spec, upmix, fit, waivers = [], deliverables = [] } = file
  const anchor = fit?.anchor === undefined ? {} : { anchor: fit.anchor }
  return {
    title: { ...title, language: title.language ?? null, deliveredOn: title.deliveredOn ?? null },
    timecode: timecode === undefined ? null : { ...timecode, dropFrame: timecode.dropFrame ?? false },
    sources: sources.map(({ path, layout = null, kind = null, order = null, sha256 = null }) => ({
      path,
      layout,
      kind,
      order,
      sha256,
    })),
    segments: segments.map(({ kind, name = null, from, to }) => ({ kind, name, from, to })),
    ...(picture !== undefined && { picture }),
    spec:
      spec === undefined
        ? null
        : {
            id: spec.id ?? null,
            path: spec.path ?? null,
            edition: spec.edition ?? null,
            override: spec.override ?? {},
          },
    upmix: {
      start: upmix?.start ?? null,
      settings: (upmix?.settings ?? {}) as Sheet['upmix']['settings'],
      scenes: (upmix?.scenes ?? []).map(
        ({ name = null, glideInMs, glideOutMs, reason = null, settings = {}, ...rest }) => ({
          ...rest,
          name,
          glideInMs: glideInMs ?? CUSTOMARY_UPMIX_GLIDE_MS,
          glideOutMs: glideOutMs ?? CUSTOMARY_UPMIX_GLIDE_MS,
          reason,
          settings: settings as Sheet['upmix']['settings'],
        }),
      ),
    },
    fit: {
      settings: { ...fit?.settings, ...anchor } as Sheet['fit']['settings'],
      trims: (fit?.trims ?? []).map(({ glideMs = SHORTEST_GLIDE_MS, reason = null, ...rest }) => ({
        ...rest,
        glideMs,
        reason,
      })),
      locks: fit?.locks ?? [],
      ...(fit?.limits !== undefined && { limits: fit.limits }),
      ...(fit?.handRides !== undefined && {
        handRides: fit.handRides.map(({ reason = null, ...rest }) => ({ ...rest, reason })),
      }),
    },
    waivers,
    deliverables: deliverables.map(({ role, bits = 24, name = null }) => ({ role, bits, name })),
  }
}

/** What is possible by itself and not together. */
function contradictions({
  sources,
  upmix,
  fit,
  spec,
  deliverables = [],
  waivers = [],
}: SheetFile): readonly FileProblem[] {
  const problems: FileProblem[] = []
  const add = (path: string, found: string, needed: string) => problems.push({ path, found, needed, nearest: null })
  const kind = upmix?.settings?.['kind'] ?? sources.find((file) => file.kind !== undefined)?.kind
  for (const [index, file] of sources.entries()) {
    if (file.kind === undefined || file.kind === kind) continue
    add(`sources.${index}.kind`, `"${file.kind}"`, `the same as in upmix.settings and in every reel ("${kind}")`)
  }
  const inSettings = fit?.settings?.['anchor']
  if (fit?.anchor !== undefined && inSettings !== undefined && fit.anchor !== inSettings) {
    add('fit.anchor', `"${fit.anchor}"`, `the same as fit.settings.anchor ("${inSettings}"), or only one of them`)
  }
  if (spec !== undefined && (spec.id === undefined) === (spec.path === undefined)) {
    add(
      'spec',
      spec.id === undefined ? 'neither id nor path' : 'both id and path',
      'the id of a spec or the path of a file',
    )
  }
  for (const [index, { lowestDb, highestDb }] of (fit?.limits ?? []).entries()) {
    if (lowestDb > highestDb)
      add(`fit.limits.${index}.lowestDb`, `${lowestDb} dB`, `no more than highestDb (${highestDb} dB)`)
  }
  for (const [index, { role }] of deliverables.entries()) {
    const first = deliverables.findIndex((other) => other.role === role)
    if (first < index) add(`deliverables.${index}.role`, `"${role}" for a second time`, 'each role once')
  }
  if (new Set(deliverables.map(({ bits = 24 }) => bits)).size > 1) {
    add('deliverables', 'files of 16 and of 24 bits', 'one word length for all files of a delivery')
  }
  const names = deliverables.flatMap(({ name }) => name ?? [])
  if (new Set(names).size < names.length)
    add('deliverables', 'two files of one name', 'a name of its own for each file')
  for (const [index, { line }] of waivers.entries()) {
    const first = waivers.findIndex((other) => other.line === line)
    if (first < index) add(`waivers.${index}.line`, `"${line}" for a second time`, 'each line once')
  }
  return problems
}

const SHAPES: Readonly<Record<string, readonly string[]>> = {
  '': Object.keys(sheetFile.shape).filter((name) => name !== '$schema'),
  title: ['id', 'name', 'language', 'deliveredOn'],
  timecode: ['rate', 'dropFrame', 'start'],
  sources: Object.keys(source.shape),
  segments: Object.keys(segment.shape),
  picture: ['from'],
  spec: ['id', 'path', 'edition', 'override'],
  'spec.override': Object.keys(override.shape),
  upmix: Object.keys(upmix.shape),
  'upmix.settings': Object.keys(UPMIX_PARAMETERS),
  'upmix.scenes': Object.keys(scene.shape),
  'upmix.scenes.settings': Object.keys(SCENE_PARAMETERS),
  fit: ['anchor', 'settings', 'trims', 'locks', 'limits', 'handRides'],
  'fit.settings': Object.keys(FIT_PARAMETERS),
  'fit.trims': Object.keys(trim.shape),
  'fit.locks': Object.keys(lock.shape),
  'fit.limits': Object.keys(limit.shape),
  'fit.handRides': Object.keys(handRide.shape),
  'fit.handRides.points': ['at', 'gainDb'],
  waivers: ['line', 'reason'],
  deliverables: Object.keys(deliverable.shape),
}

const WORDS: FileWords = {
  namesAt: (path) => SHAPES[path.filter((part) => typeof part !== 'number').join('.')] ?? [],
  needed(issue) {
    if (issue.code !== 'invalid_format') return null
    switch (issue.path.at(-1)) {
      case 'sha256':
        return 'the hash of the file in lower-case hex digits, or its first six or more'
      case 'deliveredOn':
        return 'a date as in 2026-11-25'
      case 'id':
        return 'letters, digits, dots, hyphens and underscores'
      default:
        return 'a file name that ends in .wav, without folders'
    }
  },
}

/** What stands in the sheet under a name that is not obeyed yet. */
function inSheet(value: unknown, path: string): string {
  const found = path
    .split('.')
    .reduce<unknown>((inner, name) => (inner as Record<string, unknown> | undefined)?.[name], value)
  return Array.isArray(found) ? `${found.length} of them` : JSON.stringify(found)
}

/** Without what is not said. */
function said(entry: object): object {
  return Object.fromEntries(Object.entries(entry).filter(([, value]) => value !== null && value !== undefined))
}

function filled(entry: object): object | undefined {
  const kept = said(entry)
  return Object.keys(kept).length === 0 ? undefined : kept
}

function listed(entries: readonly object[]): readonly object[] | undefined {
  return entries.length === 0 ? undefined : entries
}

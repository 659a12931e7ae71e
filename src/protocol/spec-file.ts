import { z } from 'zod'
import {
  type BandLevelLimit,
  type Clause,
  type DeliverySpec,
  type FileProblem,
  type Limit,
  SAMPLE_RATES_HZ,
} from '../domain/index.ts'
import { describeIssues, type FileWords } from './file-problems.ts'

/** Where a limit stands in the recipient's document, e.g. `4.2`. */
const clauseText = z.string().min(1).describe("Where it stands in the recipient's document, e.g. 4.2")

const SEVERITY = z.enum(['fail', 'warn']).describe('A missed limit fails the delivery (default) or only warns')

/** Programmes that a line holds for. A title lasts minutes or hours: our own bounds. */
const seconds = z.number().positive().max(86_400)
const LENGTH = z
  .strictObject({
    atMostSeconds: seconds.optional().describe('Holds for programmes no longer than this'),
    moreThanSeconds: seconds.optional().describe('Holds for programmes longer than this'),
  })
  .describe('The line holds only for programmes of this length: a line for short-form, or for long-form')

/** A bare number, or a number with its severity and clause. */
function upperLimit(value: z.ZodNumber, sentence: string) {
  const detailed = z.strictObject({
    value,
    severity: SEVERITY.optional(),
    clause: clauseText.optional(),
    length: LENGTH.optional(),
  })
  return z.union([value, detailed]).optional().describe(sentence)
}

/** Levels that a delivery can ask for; what lies outside is a slip of the pen. Our own bounds. */
const LOUDNESS_LKFS = z.number().min(-60).max(0)
const TRUE_PEAK_DBTP = z.number().min(-30).max(3)
const LFE_DBFS = z.number().min(-60).max(0)
const LFE_OVER_FRONTS_DB = z.number().min(-40).max(40)
const TOLERANCE_LU = z.number().positive().max(10)
const RANGE_LU = z.number().positive().max(60)

/** Corners that the filters can hold to; what lies outside is no band of a programme. Our own bounds. */
const FROM_HZ = z.number().min(30).max(10_000)
const TO_HZ = z.number().min(40).max(16_000)
const BAND_DBFS = z.number().min(-80).max(0)
const BAND_OVER_LOUDNESS_DB = z.number().min(-60).max(30)

const bandLevel = z
  .strictObject({
    id: z
      .string()
      .regex(/^[a-z0-9]+(-[a-z0-9]+)*$/)
      .describe('Name of the band: lower-case letters, digits and hyphens, e.g. low-end'),
    fromHz: FROM_HZ.optional().describe('Lower end of the band, -6 dB there; absent: it reaches down to 0 Hz'),
    toHz: TO_HZ.optional().describe('Upper end of the band, -6 dB there; absent: it reaches up to the top'),
    over: z
      .enum(['short-term', 'programme'])
      .optional()
      .describe(
        'What is limited: the highest level in any 3 s (short-term, default), or that of the programme as a whole',
      ),
    maxDbfs: BAND_DBFS.optional().describe(
      'Highest level, RMS, all channels but the LFE together (a sine at full scale in one channel is -3)',
    ),
    maxOverLoudnessDb: BAND_OVER_LOUDNESS_DB.optional().describe(
      'Highest level over the programme loudness of the same file; stands instead of maxDbfs',
    ),
    severity: SEVERITY.optional(),
    clause: clauseText.optional(),
    length: LENGTH.optional(),
  })
  .describe('A limit on the level of a frequency band; the fit turns the band down by a threshold that it finds')

/** A user's own delivery spec as it stands in a file. */
export const specFile = z
  .strictObject({
    $schema: z.string().optional(),
    specVersion: z.literal(1).describe('Version of this file format'),
    id: z
      .string()
      .regex(/^[a-z0-9]+(-[a-z0-9]+)*$/)
      .describe('Lower-case letters, digits and hyphens'),
    title: z.string().min(1).describe('As the report names it'),
    purpose: z.string().min(1).describe('When this spec applies, in one sentence'),
    edition: z.string().min(1).describe("Date or issue of the recipient's document"),
    anchor: z.enum(['programme', 'dialogue']).optional().describe('What the target is measured on; default programme'),
    programmeLoudness: z.strictObject({
      targetLkfs: LOUDNESS_LKFS,
      toleranceBelowLu: TOLERANCE_LU.describe('How far below the target is allowed, a positive number'),
      toleranceAboveLu: TOLERANCE_LU.describe('How far above the target is allowed, a positive number'),
      clause: clauseText.optional(),
    }),
    maxTruePeakDbtp: upperLimit(TRUE_PEAK_DBTP, 'Highest true peak'),
    maxLfeTruePeakDbtp: upperLimit(TRUE_PEAK_DBTP, 'Highest true peak of the LFE, which has a ceiling of its own'),
    maxLfeShortTermDbfs: upperLimit(
      LFE_DBFS,
      'Highest level of the LFE in 3 s, RMS (a sine at full scale is -3); its own ride meets it',
    ),
    maxLfeOverFrontsDb: upperLimit(
      LFE_OVER_FRONTS_DB,
      'How far the LFE may stand above the low end (below 120 Hz) of L, R and C in any 3 s, as both lie in the file',
    ),
    maxShortTermLkfs: upperLimit(LOUDNESS_LKFS, 'Highest short-term loudness (3 s)'),
    maxMomentaryLkfs: upperLimit(LOUDNESS_LKFS, 'Highest momentary loudness (400 ms)'),
    maxLoudnessRangeLu: upperLimit(RANGE_LU, 'Largest loudness range'),
    bandLevels: z.array(bandLevel).max(8).optional().describe('Limits on the level of frequency bands, eight at most'),
    sampleRatesHz: z
      .array(z.number().refine((rate) => SAMPLE_RATES_HZ.includes(rate)))
      .min(1)
      .optional()
      .describe(`Sample rates that are accepted (default: any), from ${SAMPLE_RATES_HZ.join(', ')}`),
    notes: z.array(z.string()).optional(),
  })
  .describe("A recipient's delivery spec for Plimsoll")

type SpecFile = z.infer<typeof specFile>

export type SpecReading =
  | { readonly spec: DeliverySpec; readonly problems: null }
  | { readonly spec: null; readonly problems: readonly FileProblem[] }

/** Reads a user's own delivery spec (parsed JSON); gives every problem at once, each with its place and its remedy. */
export function readSpecFile(value: unknown): SpecReading {
  const parsed = specFile.safeParse(value)
  if (!parsed.success) return { spec: null, problems: describeIssues(parsed.error.issues, value, WORDS) }
  const problems = contradictions(parsed.data)
  return problems.length > 0 ? { spec: null, problems } : { spec: toSpec(parsed.data), problems: null }
}

/** The JSON Schema of a spec file, for editors. */
export function specFileSchema(): object {
  return z.toJSONSchema(specFile, { io: 'input' })
}

function toSpec(file: SpecFile): DeliverySpec {
  const source = (clause: string | undefined): Clause => ({
    document: file.title,
    edition: file.edition,
    clause: clause ?? 'not stated',
    basis: 'user',
  })
  const limit = (asked: number | Exclude<SpecFile['maxTruePeakDbtp'], number | undefined>): Limit => {
    const detailed = typeof asked === 'number' ? { value: asked } : asked
    return {
      value: detailed.value,
      severity: detailed.severity ?? 'fail',
      source: source(detailed.clause),
      ...lengthOf(detailed),
    }
  }
  const { targetLkfs, toleranceBelowLu, toleranceAboveLu, clause } = file.programmeLoudness
  return {
    id: file.id,
    title: file.title,
    purpose: file.purpose,
    edition: file.edition,
    anchor: file.anchor ?? 'programme',
    programmeLoudness: { targetLkfs, toleranceBelowLu, toleranceAboveLu, source: source(clause) },
    ...(file.maxTruePeakDbtp === undefined ? {} : { maxTruePeakDbtp: limit(file.maxTruePeakDbtp) }),
    ...(file.maxLfeTruePeakDbtp === undefined ? {} : { maxLfeTruePeakDbtp: limit(file.maxLfeTruePeakDbtp) }),
    ...(file.maxLfeShortTermDbfs === undefined ? {} : { maxLfeShortTermDbfs: limit(file.maxLfeShortTermDbfs) }),
    ...(file.maxLfeOverFrontsDb === undefined ? {} : { maxLfeOverFrontsDb: limit(file.maxLfeOverFrontsDb) }),
    ...(file.maxShortTermLkfs === undefined ? {} : { maxShortTermLkfs: limit(file.maxShortTermLkfs) }),
    ...(file.maxMomentaryLkfs === undefined ? {} : { maxMomentaryLkfs: limit(file.maxMomentaryLkfs) }),
    ...(file.maxLoudnessRangeLu === undefined ? {} : { maxLoudnessRangeLu: limit(file.maxLoudnessRangeLu) }),
    ...(file.bandLevels === undefined ? {} : { bandLevels: file.bandLevels.map((band) => toBand(band, limit)) }),
    ...(file.sampleRatesHz === undefined ? {} : { sampleRatesHz: file.sampleRatesHz }),
    notes: file.notes ?? [],
  }
}

type BandInFile = z.infer<typeof bandLevel>
type LengthInFile = z.infer<typeof LENGTH>

function toBand(
  { id, fromHz, toHz, over, maxDbfs, maxOverLoudnessDb, severity, clause, length }: BandInFile,
  limit: (asked: { value: number } & Pick<BandInFile, 'severity' | 'clause' | 'length'>) => Limit,
): BandLevelLimit {
  return {
    ...limit({ value: (maxDbfs ?? maxOverLoudnessDb) as number, severity, clause, length }),
    id,
    fromHz: fromHz ?? null,
    toHz: toHz ?? null,
    over: over ?? 'short-term',
    beside: maxDbfs === undefined ? 'programme-loudness' : 'full-scale',
  }
}

function lengthOf({ length }: { readonly length?: LengthInFile | undefined }): Pick<Limit, 'length'> {
  if (length === undefined) return {}
  const { atMostSeconds, moreThanSeconds } = length
  return {
    length: {
      ...(atMostSeconds !== undefined && { atMostSeconds }),
      ...(moreThanSeconds !== undefined && { moreThanSeconds }),
    },
  }
}

/** Numbers that are each possible and together are not. */
function contradictions(file: SpecFile): readonly FileProblem[] {
  const problems: FileProblem[] = []
  const value = (limit: SpecFile['maxTruePeakDbtp']) => (typeof limit === 'object' ? limit.value : limit)
  const target = file.programmeLoudness.targetLkfs
  const expectAbove = (path: string, found: number | undefined, bound: number, boundName: string) => {
    if (found !== undefined && found <= bound) {
      problems.push({ path, found: String(found), needed: `more than ${boundName} (${bound})`, nearest: null })
    }
  }
  const shortTerm = value(file.maxShortTermLkfs)
  expectAbove('maxTruePeakDbtp', value(file.maxTruePeakDbtp), target, 'the loudness target')
  expectAbove('maxShortTermLkfs', shortTerm, target, 'the loudness target')
  expectAbove('maxMomentaryLkfs', value(file.maxMomentaryLkfs), target, 'the loudness target')
  const momentary = value(file.maxMomentaryLkfs)
  if (shortTerm !== undefined && momentary !== undefined && momentary < shortTerm) {
    problems.push({
      path: 'maxMomentaryLkfs',
      found: String(momentary),
      needed: `at least maxShortTermLkfs (${shortTerm}): 400 ms can be louder than the 3 s around it, never softer`,
      nearest: null,
    })
  }
  return [...problems, ...lengthProblems(file), ...(file.bandLevels ?? []).flatMap(bandProblems)]
}

/** A band shorter than an octave, or between filters this gentle, is not heard for itself. */
const NARROWEST_BAND = 2

function bandProblems(band: BandInFile, index: number, all: readonly BandInFile[]): readonly FileProblem[] {
  const { id, fromHz, toHz, maxDbfs, maxOverLoudnessDb } = band
  const problem = (name: string, found: unknown, needed: string) => ({
    path: `bandLevels.${index}${name}`,
    found: found === undefined ? 'nothing' : String(found),
    needed,
    nearest: null,
  })
  const limits = [maxDbfs, maxOverLoudnessDb].filter((value) => value !== undefined)
  return [
    ...(all.findIndex((other) => other.id === id) < index ? [problem('.id', id, 'a name of its own')] : []),
    ...(fromHz === undefined && toHz === undefined
      ? [problem('', 'no corner', 'fromHz, toHz or both: without them it would be the whole mix')]
      : []),
    ...(fromHz !== undefined && toHz !== undefined && toHz < NARROWEST_BAND * fromHz
      ? [problem('.toHz', toHz, `at least an octave above fromHz (${NARROWEST_BAND * fromHz} Hz)`)]
      : []),
    ...(limits.length === 1
      ? []
      : [problem('', limits.length === 0 ? 'no limit' : 'two limits', 'one of maxDbfs and maxOverLoudnessDb')]),
    ...lengthProblem(band.length, `bandLevels.${index}`),
  ]
}

function lengthProblems(file: SpecFile): readonly FileProblem[] {
  return Object.entries(file).flatMap(([name, limit]) =>
    typeof limit === 'object' && 'length' in limit && !Array.isArray(limit)
      ? lengthProblem(limit.length as LengthInFile | undefined, name)
      : [],
  )
}

function lengthProblem(length: LengthInFile | undefined, path: string): readonly FileProblem[] {
  if (length === undefined) return []
  const { atMostSeconds, moreThanSeconds } = length
  if (atMostSeconds === undefined && moreThanSeconds === undefined) {
    return [
      { path: `${path}.length`, found: 'no bound', needed: 'atMostSeconds, moreThanSeconds or both', nearest: null },
    ]
  }
  if (atMostSeconds === undefined || moreThanSeconds === undefined || atMostSeconds > moreThanSeconds) return []
  const needed = `more than moreThanSeconds (${moreThanSeconds}): no programme would be meant`
  return [{ path: `${path}.length.atMostSeconds`, found: String(atMostSeconds), needed, nearest: null }]
}

const WORDS: FileWords = {
  namesAt(path) {
    if (path.length === 0) return Object.keys(specFile.shape).filter((name) => name !== '$schema')
    if (path[0] === 'programmeLoudness') return Object.keys(specFile.shape.programmeLoudness.shape)
    if (path.includes('length')) return Object.keys(LENGTH.shape)
    if (path[0] === 'bandLevels') return Object.keys(bandLevel.shape)
    return ['value', 'severity', 'clause', 'length']
  },
  needed(issue, found) {
    if (issue.code === 'invalid_format') {
      return 'lower-case letters, digits and single hyphens, e.g. north-coast-2026'
    }
    if (issue.code === 'custom') return `one of ${SAMPLE_RATES_HZ.join(', ')}`
    const isLevel =
      typeof found === 'number' && issue.path.some((name) => /Lkfs|Dbfs|maxTruePeakDbtp/.test(String(name)))
    if (issue.code !== 'too_big' || !isLevel) return null
    return `at most ${issue.maximum}; levels are below full scale: was -${found} meant?`
  },
}

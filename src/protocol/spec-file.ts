import { z } from 'zod'
import { type Clause, type DeliverySpec, type FileProblem, type Limit, SAMPLE_RATES_HZ } from '../domain/index.ts'
import { describeIssues, type FileWords } from './file-problems.ts'

/** Where a limit stands in the recipient's document, e.g. `4.2`. */
const clauseText = z.string().min(1).describe("Where it stands in the recipient's document, e.g. 4.2")

const SEVERITY = z.enum(['fail', 'warn']).describe('A missed limit fails the delivery (default) or only warns')

/** A bare number, or a number with its severity and clause. */
function upperLimit(value: z.ZodNumber, sentence: string) {
  const detailed = z.strictObject({ value, severity: SEVERITY.optional(), clause: clauseText.optional() })
  return z.union([value, detailed]).optional().describe(sentence)
}

/** Levels that a delivery can ask for; what lies outside is a slip of the pen. Our own bounds. */
const LOUDNESS_LKFS = z.number().min(-60).max(0)
const TRUE_PEAK_DBTP = z.number().min(-30).max(3)
const LFE_DBFS = z.number().min(-60).max(0)
const LFE_OVER_FRONTS_DB = z.number().min(-40).max(40)
const TOLERANCE_LU = z.number().positive().max(10)
const RANGE_LU = z.number().positive().max(60)

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
    return { value: detailed.value, severity: detailed.severity ?? 'fail', source: source(detailed.clause) }
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
    ...(file.sampleRatesHz === undefined ? {} : { sampleRatesHz: file.sampleRatesHz }),
    notes: file.notes ?? [],
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
  return problems
}

const WORDS: FileWords = {
  namesAt(path) {
    if (path.length === 0) return Object.keys(specFile.shape).filter((name) => name !== '$schema')
    if (path[0] === 'programmeLoudness') return Object.keys(specFile.shape.programmeLoudness.shape)
    return ['value', 'severity', 'clause']
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

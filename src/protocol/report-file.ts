import { z } from 'zod'
import { BANDS } from '../domain/index.ts'

/** Version of the documents below; a field may be added without a new version, none is removed or changed. */
export const REPORT_VERSION = 1

/** Parts that the documents share. */
export const measured = z.number().nullable()
const sha256 = z.string().regex(/^[0-9a-f]{64}$/)
export const layout = z.enum(['mono', '2.0', '5.0', '5.1', '7.1'])
export const role = z.enum(['M', 'L', 'R', 'C', 'LFE', 'Ls', 'Rs', 'Lrs', 'Rrs'])
export const share = z.number().min(0).max(1)
export const severity = z.enum(['fail', 'warn', 'note'])
const deliverableRole = z.enum(['mix-5.1', 'lo-ro', 'lt-rt', 'mix'])
const clause = z.object({
  document: z.string(),
  edition: z.string(),
  clause: z.string(),
  basis: z.enum(['read', 'summary', 'memory', 'common practice', 'user']),
})

const figures = z.object({
  programmeLoudnessLkfs: measured,
  loudnessRangeLu: measured,
  maxMomentaryLkfs: measured,
  maxShortTermLkfs: measured,
  maxTruePeakDbtp: measured,
  samplePeakDbfs: measured,
})

const dialogue = z.object({
  programmeMinusDialogueLu: measured,
  dialogueOverBackgroundLu: measured,
  quietestLines: z.array(
    z.object({
      startFrame: z.int().nonnegative(),
      endFrame: z.int().positive(),
      loudnessLkfs: z.number(),
      overBackgroundLu: measured,
    }),
  ),
})

const measurements = figures.extend({
  layout,
  sampleRateHz: z.number().positive(),
  frameCount: z.int().nonnegative(),
  durationSeconds: z.number().nonnegative(),
  dialogueLoudnessLkfs: measured,
  dialogueShare: measured,
  dialogue: dialogue.nullable(),
  /** The sub as it lies in the file; null where there is none, or no spec asks for it. */
  lfe: z.object({ maxShortTermDbfs: measured, overFrontsDb: measured }).nullable(),
  /** By the id of the band line; null where no spec asks for one. */
  bandLevels: z.record(z.string(), measured).nullable(),
  channels: z.array(
    z.object({
      role,
      maxTruePeakDbtp: measured,
      samplePeakDbfs: measured,
    }),
  ),
  foldDown: z.object({
    loRo: figures.extend({ dialogueLoudnessLkfs: measured }).nullable(),
    ltRt: figures.nullable(),
    mono: figures.nullable(),
  }),
})

export const finding = z.object({
  id: z.string(),
  severity,
  line: z.string().nullable(),
  measured,
  allowed: z.union([z.number(), z.tuple([z.number(), z.number()])]).nullable(),
  unit: z.string().nullable(),
  at: z.object({ startSeconds: z.number(), endSeconds: z.number(), timecode: z.string().nullable() }).nullable(),
  source: z.string().nullable(),
  message: z.string(),
})

const margin = z.object({
  role: deliverableRole,
  line: z.string(),
  measured,
  limit: z.number(),
  margin: measured,
  unit: z.string(),
  severity: z.enum(['fail', 'warn']),
  source: clause,
})

export const tool = z.object({ name: z.literal('plimsoll'), version: z.string() })
const namedSpec = z.object({ id: z.string(), title: z.string(), edition: z.string() })

const heardMoves = z.object({
  count: z.int().nonnegative(),
  movedCount: z.int().nonnegative(),
  movedFromDb: z.number().positive(),
  largestDb: z.number().nonnegative(),
})

const ceilingWork = z.object({
  events: z.int().nonnegative(),
  deepestDb: z.number().nonnegative(),
  secondsBelow01Db: z.number().nonnegative(),
  secondsBelow1Db: z.number().nonnegative(),
  secondsBelow3Db: z.number().nonnegative(),
})

const corridor = z.object({ lowest: z.array(measured), highest: z.array(measured) }).nullable()
const touch = z.object({ startSeconds: z.number(), endSeconds: z.number(), rideDb: z.number(), line: z.string() })

const bandReduction = z.object({
  fromHz: measured,
  toHz: measured,
  deepestDb: z.number().nonnegative(),
  areaDbSeconds: z.number().nonnegative(),
  actingShare: share,
})

const alteration = z.object({
  trims: z.array(
    z.object({
      startSeconds: z.number(),
      endSeconds: z.number(),
      gainDb: z.number(),
      reason: z.string().nullable(),
    }),
  ),
  dialogue: z
    .object({
      overBackgroundBeforeLu: measured,
      overBackgroundAfterLu: measured,
      medianChangeLu: measured,
      largestChangeLu: measured,
      byOtherChannels: z
        .object({ rideDbSeconds: z.number().nonnegative(), ceilingDbSeconds: z.number().nonnegative() })
        .nullable(),
    })
    .nullable(),
  total: z.object({
    staticGainDb: z.number(),
    plrBeforeLu: measured,
    plrAfterLu: measured,
    shortTermCorrelation: measured,
    shortTermLargestChangeLu: measured,
  }),
  ride: z
    .object({
      statement: z.string(),
      movementDb: z.number().nonnegative(),
      weightedMovementDb: z.number().nonnegative(),
      movementInDialogueDb: z.number().nonnegative().nullable(),
      lines: heardMoves.nullable(),
      hits: heardMoves,
      largestMoveDb: z.number().nonnegative(),
      areaUnderReductionDbSeconds: z.number().nonnegative(),
      largestSlewDbPerSecond: z.number().nonnegative(),
      movingShare: z.number().min(0).max(1),
      touching: z.array(touch),
    })
    .nullable(),
  lfe: z
    .object({
      statement: z.string(),
      movementDb: z.number().nonnegative(),
      largestMoveDb: z.number().nonnegative(),
      areaUnderReductionDbSeconds: z.number().nonnegative(),
      largestSlewDbPerSecond: z.number().nonnegative(),
      movingShare: share,
      touching: z.array(touch),
    })
    .nullable(),
  bands: z
    .object({
      crossoverHz: z.number(),
      lowEndDeepestDb: z.number(),
      lowEndAreaDbSeconds: z.number(),
      lowEndActingShare: z.number(),
    })
    .nullable(),
  multiband: z.array(bandReduction.extend({ name: z.enum(BANDS.map(({ name }) => name)) })).nullable(),
  bandLines: z.array(bandReduction.extend({ line: z.string(), movementDb: z.number().nonnegative() })).nullable(),
  ceiling: ceilingWork
    .extend({
      lfe: ceilingWork.nullable(),
      groups: z.array(ceilingWork.extend({ name: z.string() })),
      frontResidue: z
        .object({ besideFrontsDb: z.number(), peakDbfs: z.number(), seconds: z.number().nonnegative() })
        .nullable(),
    })
    .nullable(),
  octaves: z
    .object({
      actingShare: share,
      removed: z.array(z.object({ centreHz: z.number().positive(), removedDb: measured })),
    })
    .nullable(),
  overTime: z
    .object({
      columnSeconds: z.number().positive(),
      shortTermBeforeLkfs: z.array(measured),
      shortTermAfterLkfs: z.array(measured),
      rideDb: z.array(measured).nullable(),
      corridorDb: corridor,
      lfeRideDb: z.array(measured).nullable(),
      lfeCorridorDb: corridor,
      ceilingDb: z.array(z.number().nonnegative()).nullable(),
      octaves: z.array(z.object({ centreHz: z.number().positive(), removedDb: z.array(measured) })).nullable(),
      dialogue: z
        .object({
          lines: z.array(
            z.object({
              startSeconds: z.number().nonnegative(),
              endSeconds: z.number().positive(),
              overBackgroundBeforeLu: measured,
              overBackgroundAfterLu: measured,
            }),
          ),
          byOtherChannels: z
            .object({ rideDb: z.array(z.number().nonnegative()), ceilingDb: z.array(z.number().nonnegative()) })
            .nullable(),
        })
        .nullable(),
    })
    .nullable(),
})

const foldDownLock = z
  .object({
    law: z.enum(['lo-ro', 'lt-rt']),
    state: z.enum(['closed', 'open']),
    differingSamples: z.int().nonnegative(),
    coefficient: z.string(),
    masterNullDbfs: measured,
    openedBy: z.array(z.string()),
    stereoGainDb: z.number(),
  })
  .nullable()

/** `report.json` of a delivery, and what `deliver --json` prints. */
export const deliveryDocument = z.object({
  version: z.literal(REPORT_VERSION),
  tool: tool.extend({ kernelsSha256: sha256 }),
  title: z.object({ id: z.string(), name: z.string(), language: z.string().optional() }),
  conforms: z.boolean(),
  verdict: z.string(),
  /** 0 where it was plain before the first render that no render would conform. */
  passes: z.int().min(0).max(3),
  source: z.object({
    path: z.string(),
    sha256,
    layout,
    measurements,
    originatedOn: z.string().nullable(),
    startOfDaySeconds: measured,
  }),
  spec: namedSpec,
  deliverables: z.array(
    z.object({
      path: z.string(),
      role: deliverableRole,
      sha256,
      bytes: z.int().nonnegative(),
      bitsPerSample: z.int().positive(),
      measurements,
    }),
  ),
  foldDownLock,
  alteration,
  findings: z.array(finding),
  margins: z.array(margin),
  settings: z.record(z.string(), z.union([z.number(), z.string()])),
  cautions: z.array(z.string()),
})

/** `manifest.json`, the commit record of a delivery: every file but itself and the log. */
export const manifestDocument = z.object({
  version: z.literal(REPORT_VERSION),
  tool: tool.extend({ kernelsSha256: sha256 }),
  title: z.string(),
  files: z.array(
    z.object({
      /** A name inside the folder, never a way out of it. */
      path: z.string().regex(/^[^/\\\0]+$/),
      role: z.string(),
      bytes: z.int().nonnegative(),
      sha256,
    }),
  ),
})

export const refusal = z.object({
  code: z.string().regex(/^[A-Z]+(_[A-Z0-9]+)+$/),
  message: z.string(),
  found: z.string(),
  wanted: z.string(),
  remedy: z.string(),
})

/** What every command prints with `--json` where it refuses. */
export const refusalDocument = z.object({ version: z.literal(REPORT_VERSION), refusal })

/** What `verify --json` prints. */
export const verifyDocument = z.object({
  version: z.literal(REPORT_VERSION),
  tool,
  spec: namedSpec,
  conforms: z.boolean(),
  files: z.array(z.object({ path: z.string(), role: deliverableRole, measurements })),
  foldDownLock,
  findings: z.array(finding),
  margins: z.array(margin),
})

/** What `fold --json` prints: the files that were written. */
export const writtenDocument = z.object({
  version: z.literal(REPORT_VERSION),
  tool,
  files: z.array(measurements.extend({ path: z.string() })),
})

/** What `upmix --json` prints: the files that were written, and what was found about their master. */
export const upmixDocument = writtenDocument.extend({ findings: z.array(finding) })

const stretch = figures.extend({
  name: z.string().nullable(),
  startSeconds: z.number(),
  endSeconds: z.number(),
  timecode: z.string().nullable(),
  dialogueLoudnessLkfs: measured,
})

const seasonCell = z.object({ value: measured, deviation: measured, isOutlier: z.boolean() })

/** One column a figure. */
function seasonColumns<T extends z.ZodType>(cell: T) {
  return {
    programmeLoudnessLkfs: cell,
    dialogueLoudnessLkfs: cell,
    loudnessRangeLu: cell,
    maxShortTermLkfs: cell,
    maxTruePeakDbtp: cell,
  }
}

/** What `measure --json` prints. Without a spec there are no margins, and `conforms` speaks of the signal alone. */
export const measureDocument = z.object({
  version: z.literal(REPORT_VERSION),
  tool,
  spec: namedSpec.nullable(),
  files: z.array(
    measurements.extend({
      path: z.string(),
      bitsPerSample: z.int().positive(),
      /** What it measures without the trims of its sheet; null where it has none. */
      withoutTrims: figures.nullable(),
      spec: namedSpec.nullable(),
      segments: z.array(stretch),
      reels: z.array(stretch),
      conforms: z.boolean(),
      findings: z.array(finding),
      margins: z.array(margin),
    }),
  ),
  /** Titles side by side; null where there is one. */
  season: z
    .object({
      rule: z.string(),
      median: z.object(seasonColumns(measured)),
      titles: z.array(z.object({ path: z.string(), ...seasonColumns(seasonCell) })),
    })
    .nullable(),
  /** Files among several that could not be measured. */
  refused: z.array(z.object({ path: z.string(), refusal })),
})

const instant = { frame: z.int().nonnegative(), seconds: z.number().nonnegative(), timecode: z.string().nullable() }

/** What `passages --json` prints. */
export const passagesDocument = z.object({
  version: z.literal(REPORT_VERSION),
  tool,
  spec: namedSpec,
  path: z.string(),
  layout,
  sampleRateHz: z.number().positive(),
  frameCount: z.int().nonnegative(),
  timecode: z.object({ rate: z.string(), dropFrame: z.boolean(), start: z.string() }).nullable(),
  programmeLoudnessLkfs: measured,
  withoutTrims: figures.nullable(),
  conforms: z.boolean(),
  passages: z.array(
    z.object({
      rank: z.int().positive(),
      kind: z.enum(['too-loud', 'too-soft', 'level-step', 'line-up-tone', 'thinnest-margin']),
      line: z.string(),
      startFrame: instant.frame,
      endFrame: instant.frame,
      peakFrame: instant.frame,
      startSeconds: instant.seconds,
      endSeconds: instant.seconds,
      peakSeconds: instant.seconds,
      startTimecode: instant.timecode,
      endTimecode: instant.timecode,
      peakTimecode: instant.timecode,
      measured: z.number(),
      allowed: z.union([z.number(), z.tuple([z.number(), z.number()])]),
      unit: z.string(),
      excess: z.number(),
      carriedBy: z.array(z.object({ role, share })),
      dialogueShare: share.nullable(),
      suggestedTrimDb: z.number().nullable(),
      effect: z
        .object({
          programmeLoudnessBeforeLkfs: z.number(),
          programmeLoudnessAfterLkfs: z.number(),
          changeLu: z.number(),
        })
        .nullable(),
      marginalLuPerDb: z.number().nullable(),
      message: z.string(),
      source: clause,
    }),
  ),
  findings: z.array(finding),
})

export type DeliveryDocument = z.infer<typeof deliveryDocument>
export type MeasureDocument = z.infer<typeof measureDocument>

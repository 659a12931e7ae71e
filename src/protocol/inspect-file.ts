import { z } from 'zod'
import { finding, layout, measured, REPORT_VERSION, refusal, role, severity, share, tool } from './report-file.ts'

const sentences = z.array(z.string())
const frame = z.int().nonnegative()
const label = z.string().nullable()

/** A stretch in frames, in seconds and, where the programme has timecode, in labels. */
const stretch = z.object({
  startFrame: frame,
  endFrame: frame,
  startSeconds: z.number(),
  endSeconds: z.number(),
  startTimecode: label,
  endTimecode: label,
})

const tone = stretch.extend({
  kind: z.enum(['steady', 'interrupted', 'beep', 'pop']),
  channels: z.array(role),
  frequencyHz: z.number().positive(),
  levelDbfs: z.number(),
})

const structure = z.object({
  headSilence: stretch.nullable(),
  tailSilence: stretch.nullable(),
  tones: z.array(tone),
  twoPop: tone.nullable(),
  tailPop: tone.nullable(),
  action: stretch.nullable(),
  segments: z.array(
    stretch.extend({
      kind: z.enum(['programme', 'break', 'slate', 'leader', 'tone', 'textless', 'tail', 'silence']),
      name: z.string().nullable(),
      confidence: share,
      evidence: sentences,
    }),
  ),
  frameRates: z.array(z.object({ rate: z.string(), evidence: sentences })),
  speed: z
    .object({ ratio: z.number().positive(), name: z.string(), confidence: share, evidence: sentences })
    .nullable(),
})

const faults = z.object({
  layout,
  faults: z.array(
    stretch.extend({
      id: z.string(),
      channels: z.array(role),
      severity,
      count: z.int().positive(),
      places: z.array(stretch),
      figures: z.record(z.string(), z.number()),
      message: z.string(),
      source: z.string(),
    }),
  ),
  channels: z.array(
    z.object({
      role,
      samplePeakDbfs: measured,
      levelDbfs: measured,
      dcOffset: z.number(),
      usedBits: measured,
      clippedRuns: z.int().nonnegative(),
      longestClippedRunFrames: z.int().nonnegative(),
      interSampleOvers: z.int().nonnegative(),
      clicks: z.int().nonnegative(),
    }),
  ),
  monoSumDb: measured,
})

const side = z.enum(['left', 'right'])
const twoTrackKind = z.enum([
  'silent',
  'one-sided',
  'dual-mono',
  'polarity-inverted',
  'time-offset',
  'matrix-encoded',
  'possibly-matrix-encoded',
  'plain-stereo',
  'split-track',
  'two-languages',
  'tone-on-a-track',
  'timecode-on-a-track',
])

const twoTrack = z.object({
  kind: z.union([twoTrackKind, z.literal('mixed')]),
  confidence: share,
  evidence: sentences,
  advice: sentences,
  stretches: z.array(
    stretch.extend({
      kind: twoTrackKind,
      side: side.nullable(),
      isInverted: z.boolean(),
      confidence: share,
      evidence: sentences,
      figures: z.record(z.string(), measured),
    }),
  ),
  azimuth: z
    .object({
      curve: z.array(stretch.extend({ delayMicroseconds: z.number() })),
      leastMicroseconds: z.number(),
      mostMicroseconds: z.number(),
      medianMicroseconds: z.number(),
      trebleLoss: z.array(z.object({ frequencyHz: z.number(), medianDb: z.number(), worstDb: z.number() })),
      confidence: share,
      evidence: sentences,
    })
    .nullable(),
  hiss: z.object({
    leftDbfs: measured,
    rightDbfs: measured,
    bandHz: z.tuple([z.number(), z.number()]),
    method: z.string(),
    floor: z.object({ bandsHz: z.array(z.number()), densities: z.array(z.number()) }).nullable(),
  }),
  timecode: z.array(z.object({ side, rate: z.string(), firstLabel: z.string(), lastLabel: z.string() }).loose()),
})

const spectrum = z.array(
  z.object({
    role,
    hum: z
      .object({
        fundamentalHz: z.number(),
        mainsHz: z.union([z.literal(50), z.literal(60)]),
        speed: z.string().nullable(),
        harmonics: z.array(
          z.object({ number: z.int().positive(), levelDbfs: z.number(), overNeighbourhoodDb: z.number() }),
        ),
        confidence: share,
        evidence: sentences,
      })
      .nullable(),
    bandLimit: z
      .object({
        cutHz: z.number().positive(),
        stepDb: z.number(),
        suggests: z.enum(['lower-sample-rate', 'lossy-coding', 'either']),
        confidence: share,
        evidence: sentences,
      })
      .nullable(),
    hissDbfs: measured,
    lineWhistle: z
      .object({
        frequencyHz: z.number(),
        system: z.enum(['625 lines', '525 lines']),
        levelDbfs: z.number(),
        overNeighbourhoodDb: z.number(),
      })
      .nullable(),
  }),
)

const roles = z.object({
  evidence: sentences,
  order: z.enum(['itu', 'film', 'aac']).nullable(),
  faults: z.array(
    z.object({
      kind: z.string(),
      channels: z.array(role),
      confidence: share,
      evidence: sentences,
      remedy: z.string(),
    }),
  ),
  stereoOrigin: z
    .object({
      confidence: share,
      derived: z.array(z.object({ role, share, lagMs: measured, gainDb: z.number() })),
      evidence: sentences,
    })
    .nullable(),
})

/** What `inspect --json` prints. */
export const inspectDocument = z.object({
  version: z.literal(REPORT_VERSION),
  tool,
  files: z.array(
    z.object({
      path: z.string(),
      container: z.string(),
      layout,
      bitsPerSample: z.int().positive(),
      sampleRateHz: z.number().positive(),
      frameCount: frame,
      durationSeconds: z.number().nonnegative(),
      timecode: z.object({ rate: z.string(), dropFrame: z.boolean() }).nullable(),
      /** Share of the programme that is dialogue; null where nobody listened. */
      dialogueShare: share.nullable(),
      findings: z.array(finding),
      structure,
      faults,
      twoTrack: twoTrack.nullable(),
      spectrum,
      roles: roles.nullable(),
    }),
  ),
  /** Files among several that could not be inspected. */
  refused: z.array(z.object({ path: z.string(), refusal })),
})

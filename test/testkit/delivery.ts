import {
  type CeilingEvent,
  type DeliveryReport,
  type DeliverySpec,
  type LoudnessCurve,
  type LoudnessCurves,
  type Measurements,
  OCTAVE_COUNT,
  type ProgrammeLanes,
} from '../../src/domain/index.ts'
import { type DeliveryParts, deliveryReport } from '../../src/engine/deliver/index.ts'
import { judgeDelivery } from '../../src/engine/verify/index.ts'
import { findSpec } from '../../src/specs/index.ts'

const HOP_SECONDS = 0.1
const SOURCE_LKFS = -20.1

/** 100 ms powers of a made-up drama: dialogue with pauses, music, a storm, a silent second. Seeded, no audio behind it. */
function dramaPowers(durationSeconds: number): Float64Array {
  let state = 1986
  const random = () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0
    return state / 2 ** 32
  }
  let speech = 0
  return Float64Array.from({ length: Math.floor(durationSeconds / HOP_SECONDS) }, (_, hop) => {
    const share = (hop * HOP_SECONDS) / durationSeconds
    if (random() < 0.06) speech = random() < 0.7 ? 1 : 0
    const scene = -44 + 5 * Math.sin(share * 40) + 4 * Math.sin(share * 11)
    const storm = Math.abs(share - 0.55) < 0.04 ? 21 * Math.cos(((share - 0.55) / 0.04) * (Math.PI / 2)) : 0
    const title = share < 0.03 ? 17 : 0
    const slam = Math.abs(share - 0.72) < 2 / durationSeconds ? 20 : 0
    const level = Math.max(
      speech ? -27 + 5 * Math.sin(share * 23) + 4 * Math.sin(hop / 90) + 6 * random() : -99,
      scene + Math.max(storm, title, slam) + 3 * random(),
    )
    return Math.abs(share - 0.4) < 1 / durationSeconds ? 0 : 10 ** (level / 10)
  })
}

function curveOf(powers: Float64Array, windowHops: number): LoudnessCurve {
  const lkfs = new Float64Array(Math.max(0, powers.length - windowHops + 1))
  for (let i = 0; i < lkfs.length; i++) {
    let sum = 0
    for (let k = 0; k < windowHops; k++) sum += powers[i + k] as number
    lkfs[i] = 10 * Math.log10(sum / windowHops)
  }
  return { windowSeconds: windowHops * HOP_SECONDS, hopSeconds: HOP_SECONDS, lkfs }
}

function curvesOf(powers: Float64Array): LoudnessCurves {
  return { momentary: curveOf(powers, 4), shortTerm: curveOf(powers, 30) }
}

/** Brings the made-up programme to a loudness; gated once relatively, which is near enough for a picture. */
function at(loudnessLkfs: number, powers: Float64Array): Float64Array {
  const mean = (kept: Float64Array) => kept.reduce((sum, power) => sum + power, 0) / kept.length
  const gate = mean(powers) / 10
  const gain = 10 ** (loudnessLkfs / 10) / mean(powers.filter((power) => power > gate))
  return powers.map((power) => power * gain)
}

const highest = ({ lkfs }: LoudnessCurve) => (lkfs.length === 0 ? null : lkfs.reduce((a, b) => Math.max(a, b)))

const ROLES_5_1 = ['L', 'R', 'C', 'LFE', 'Ls', 'Rs'] as const

function measurementsOf(
  layout: '2.0' | '5.1',
  curves: LoudnessCurves,
  durationSeconds: number,
  levels: { readonly programmeLoudnessLkfs: number; readonly maxTruePeakDbtp: number },
): Measurements {
  const figures = {
    ...levels,
    loudnessRangeLu: 11.83,
    maxMomentaryLkfs: highest(curves.momentary),
    maxShortTermLkfs: highest(curves.shortTerm),
    samplePeakDbfs: levels.maxTruePeakDbtp - 0.14,
  }
  const roles = layout === '2.0' ? (['L', 'R'] as const) : ROLES_5_1
  const below = { L: 0, R: 0.42, C: 0.9, LFE: Number.NaN, Ls: 7.3, Rs: 8.05 }
  return {
    ...figures,
    layout,
    sampleRateHz: 48000,
    frameCount: Math.round(durationSeconds * 48000),
    durationSeconds,
    dialogueLoudnessLkfs: null,
    dialogueShare: null,
    dialogue: null,
    lfe: null,
    bandLevels: null,
    channels: roles.map((role) => ({
      role,
      maxTruePeakDbtp: role === 'LFE' ? null : levels.maxTruePeakDbtp - below[role],
      samplePeakDbfs: role === 'LFE' ? null : levels.maxTruePeakDbtp - below[role] - 0.14,
    })),
    foldDown: {
      loRo:
        layout === '2.0'
          ? null
          : {
              ...figures,
              programmeLoudnessLkfs: levels.programmeLoudnessLkfs + 0.59,
              maxTruePeakDbtp: levels.maxTruePeakDbtp + 0.3,
              dialogueLoudnessLkfs: null,
            },
      ltRt: null,
      mono: null,
    },
  }
}

function rideOf(hops: number, durationSeconds: number): NonNullable<DeliveryParts['ride']> {
  const rideDb = new Float64Array(hops)
  const highestDb = new Float64Array(hops).fill(0)
  for (let hop = 0; hop < hops; hop++) {
    const share = hop / hops
    const depth = Math.max(0, 1 - Math.abs(share - 0.55) / 0.035)
    rideDb[hop] = -3.2 * Math.min(1, 1.6 * depth)
    if (depth > 0.4) highestDb[hop] = -3.2 + 1.2 * Math.max(0, Math.abs(share - 0.55) / 0.035 - 0.2)
  }
  const lowest = rideDb.map((gain) => Math.min(gain, 0) - 1.5)
  return {
    movementDb: 6.4,
    largestSlewDbPerSecond: 0.05,
    statement: 'No ride inside this corridor moves less.',
    largestMoveDb: 3.2,
    weightedMovementDb: 31.6,
    movementInDialogueDb: 0.2,
    areaUnderReductionDbSeconds: 41.5,
    movingShare: 0.044,
    lines: { count: 214, movedCount: 1, movedFromDb: 0.5, largestDb: 0.7 },
    hits: { count: 9, movedCount: 0, movedFromDb: 0.3, largestDb: 0.1 },
    touching: [
      {
        startSeconds: durationSeconds * 0.528,
        endSeconds: durationSeconds * 0.572,
        rideDb: -3.2,
        line: 'maxShortTermLkfs',
      },
    ],
    rideDb,
    corridorDb: { lowest, highest: highestDb },
  }
}

/** What a ride takes of each octave, the low ones a little more, and what the ceiling took. */
function alteredOf(rideDb: Float64Array, events: readonly CeilingEvent[]): NonNullable<DeliveryParts['altered']> {
  const ceilingReductionDb = Float64Array.from(rideDb, (_, hop) =>
    Math.max(
      0,
      ...events.filter(({ startSeconds }) => Math.floor(startSeconds / HOP_SECONDS) === hop).map((e) => e.deepestDb),
    ),
  )
  const isActing = Uint8Array.from(rideDb, (db, hop) => (db < 0 || (ceilingReductionDb[hop] as number) > 0 ? 1 : 0))
  const powerOf = (hop: number, octave: number, gainDb: number) =>
    isActing[hop] === 1 ? 10 ** ((-30 - 3 * octave + gainDb * (octave < 2 ? 1.6 : 1)) / 10) : 0
  const rows = (gainDb: (hop: number) => number) =>
    Float64Array.from({ length: rideDb.length * OCTAVE_COUNT }, (_, index) => {
      const hop = Math.floor(index / OCTAVE_COUNT)
      return powerOf(hop, index % OCTAVE_COUNT, gainDb(hop))
    })
  return {
    isActing,
    octavesBefore: rows(() => 0),
    octavesAfter: rows((hop) => (rideDb[hop] as number) - (ceilingReductionDb[hop] as number)),
    ceilingReductionDb,
  }
}

/** Lines of dialogue of which those under the ride lose a little, half of it for the sake of others. */
function dialogueOf(rideDb: Float64Array): NonNullable<DeliveryParts['dialogue']> {
  const seconds = rideDb.length * HOP_SECONDS
  const starts = Array.from({ length: Math.floor(seconds / 13) }, (_, line) => 13 * line + (line % 5))
  const lines = starts.map((startSeconds, line) => {
    const before = line % 17 === 0 ? null : 9 + 5 * Math.sin(line / 3) + 3 * Math.sin(line * 1.7)
    const lost = -0.2 * (rideDb[Math.floor(startSeconds / HOP_SECONDS)] as number)
    const after = before === null ? null : before - lost
    return {
      startSeconds,
      endSeconds: startSeconds + 3 + (line % 4),
      overBackgroundBeforeLu: before,
      overBackgroundAfterLu: after,
    }
  })
  const isSpoken = (hop: number) =>
    lines.some(({ startSeconds, endSeconds }) => hop * HOP_SECONDS >= startSeconds && hop * HOP_SECONDS < endSeconds)
  return {
    figures: {
      overBackgroundBeforeLu: 9.42,
      overBackgroundAfterLu: 9.37,
      medianChangeLu: -0.02,
      largestChangeLu: -0.61,
      byOtherChannels: { rideDbSeconds: 12.3, ceilingDbSeconds: 0.4 },
    },
    lines,
    takenByOthers: {
      rideDb: rideDb.map((db, hop) => (db < 0 && isSpoken(hop) ? -0.5 * db : 0)),
      ceilingDb: rideDb.map((_, hop) => (hop % 4001 === 4000 && isSpoken(hop) ? 0.4 : 0)),
    },
  }
}

/** What the ceiling, dialogue and the octaves of the report tell. */
function stagesOf(
  events: readonly CeilingEvent[],
  rideDb: Float64Array,
  isRidden: boolean,
): Pick<DeliveryParts, 'ceiling' | 'dialogue' | 'altered'> {
  return {
    ceiling: {
      events,
      secondsBelow01Db: 0.04 * events.length,
      secondsBelow1Db: 0.01,
      secondsBelow3Db: 0,
      lfe: null,
      groups: [],
      frontResidue: null,
    },
    dialogue: isRidden ? dialogueOf(rideDb) : null,
    altered: alteredOf(rideDb, events),
  }
}

/** Lanes as a drama has them: lines of dialogue in the centre, the rest of the channels behind. */
function lanesOf(durationSeconds: number): ProgrammeLanes {
  const columnSeconds = 4
  const columns = Array.from({ length: Math.ceil(durationSeconds / columnSeconds) }, (_, column) => column)
  const isLine = (column: number) => Math.floor(column / 9) % 3 !== 2 && column % 5 !== 4
  return {
    columnSeconds,
    dialogue: columns.map((column) => (isLine(column) ? 0.8 : 0.1)),
    channels: (['L', 'R', 'C', 'LFE', 'Ls', 'Rs'] as const).map((role, channel) => ({
      role,
      levelLkfs: columns.map((column) =>
        role === 'LFE' ? null : role === 'C' && !isLine(column) ? -58 : -30 - 3 * channel + 6 * Math.sin(column / 7),
      ),
    })),
  }
}

export type DeliveryWish = {
  readonly specId?: string
  readonly spec?: DeliverySpec
  readonly titleName?: string
  readonly durationSeconds?: number
  readonly loudnessLkfs?: number
  readonly truePeakDbtp?: number
  readonly isLockClosed?: boolean
  readonly withRide?: boolean
  readonly ceilingEvents?: readonly CeilingEvent[]
}

/** The report of an invented delivery (Saltmarsh Lane, episode 3) with every part filled in. */
export function saltmarshReport(wish: DeliveryWish = {}): DeliveryReport {
  const durationSeconds = wish.durationSeconds ?? 2892.48
  const staticGainDb = -3.37109375
  const powers = at(SOURCE_LKFS, dramaPowers(durationSeconds))
  const source = curvesOf(powers)
  const ride = wish.withRide === false ? null : rideOf(powers.length, durationSeconds)
  const delivered = curvesOf(powers.map((power, hop) => power * 10 ** ((staticGainDb + (ride?.rideDb[hop] ?? 0)) / 10)))
  const spec = wish.spec ?? (findSpec(wish.specId ?? 'atsc-a85') as DeliverySpec)
  const levels = {
    programmeLoudnessLkfs: wish.loudnessLkfs ?? -24.01,
    maxTruePeakDbtp: wish.truePeakDbtp ?? -4.1,
  }
  const stereoLevels = {
    programmeLoudnessLkfs: levels.programmeLoudnessLkfs + 0.59,
    maxTruePeakDbtp: levels.maxTruePeakDbtp + 0.3,
  }
  const shared = { bitsPerSample: 24, nonFiniteSampleCount: 0 }
  const deliverables = [
    {
      ...shared,
      path: 'saltmarsh-lane-103_51.wav',
      role: 'mix-5.1',
      sha256: '5f0c9e3c'.repeat(8),
      bytes: 2_499_103_426,
      measurements: measurementsOf('5.1', delivered, durationSeconds, levels),
      curves: delivered,
      truePeakSeconds: durationSeconds * 0.72,
      startOfDaySeconds: 36000,
    },
    {
      ...shared,
      path: 'saltmarsh-lane-103_20.wav',
      role: 'lo-ro',
      sha256: '77ab01d2'.repeat(8),
      bytes: 833_035_202,
      measurements: measurementsOf('2.0', delivered, durationSeconds, stereoLevels),
    },
  ] as const
  const isClosed = wish.isLockClosed ?? true
  const foldDownLock = {
    law: 'lo-ro',
    state: isClosed ? 'closed' : 'open',
    differingSamples: isClosed ? 0 : 1204,
    coefficient: 'sqrt(1/2)',
    masterNullDbfs: -149.3,
    openedBy: [],
    stereoGainDb: 0,
  } as const
  return deliveryReport({
    tool: { version: '0.1.0', kernelsSha256: 'c0ffee12'.repeat(8) },
    title: { id: 'saltmarsh-lane-103', name: wish.titleName ?? 'Saltmarsh Lane, episode 3' },
    passes: 1,
    spec,
    source: {
      path: 'saltmarsh-103-master.wav',
      sha256: '9a8b7c6d'.repeat(8),
      measurements: measurementsOf('2.0', source, durationSeconds, {
        programmeLoudnessLkfs: SOURCE_LKFS,
        maxTruePeakDbtp: -0.2,
      }),
      curves: source,
      originatedOn: '1986-04-11',
      startOfDaySeconds: 36000,
    },
    deliverables: deliverables.map(({ path, role, sha256, bytes, bitsPerSample, measurements }) => {
      return { path, role, sha256, bytes, bitsPerSample, measurements }
    }),
    curves: delivered,
    lanes: lanesOf(durationSeconds),
    foldDownLock,
    judgement: judgeDelivery({ spec, deliverables, foldDownLock, anchor: '5.1' }),
    trims: [],
    staticGainDb,
    ride,
    lowEnd: null,
    bands: null,
    bandLines: [],
    lfe: null,
    ...stagesOf(wish.ceilingEvents ?? [], ride?.rideDb ?? new Float64Array(powers.length), ride !== null),
    settings: { ambienceShare: 1, lfeGainDb: 'off', rideReachSeconds: 4, ceilingAimBelowDb: 0.1 },
  })
}

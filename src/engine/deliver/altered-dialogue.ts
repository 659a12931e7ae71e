import {
  type AlteredDialogue,
  type AlteredLine,
  type DialogueLine,
  gainToDb,
  HOPS_PER_SECOND,
  LAYOUTS,
  type LayoutName,
  median,
} from '../../domain/index.ts'

/** What is known of a mix and its fit, hop by hop, where dialogue has a channel of its own. */
export type DialogueChannel = {
  readonly sampleRateHz: number
  readonly layout: LayoutName
  /** K-weighted power of each channel before the fit, channel by channel in each hop. */
  readonly channels100ms: Float64Array
  /** 1 where a voice sounds. */
  readonly isSpoken: Uint8Array
  /** Beside the static gain; null: no ride. */
  readonly rideDb: Float64Array | null
  readonly ceilingDbtp: number | null
  /** What the ceiling took, 0 or more. */
  readonly ceilingReductionDb: Float64Array
  /** Highest sample of the centre under the static gain, where something acted. */
  readonly centrePeak: Float64Array
}

/** Loudness that sets a bound on the ride is that of 3 s. */
const RIDE_REACH_HOPS = 1.5 * HOPS_PER_SECOND
/** Peaks that the ceiling holds together. */
const CEILING_REACH_HOPS = 0.5 * HOPS_PER_SECOND

/** What became of dialogue: in figures, line by line, and hop by hop what other channels cost it. */
export type DialogueAltered = {
  readonly figures: AlteredDialogue
  readonly lines: readonly AlteredLine[]
  /** In dB, 0 or more, in each 100 ms hop; null where dialogue has no channel of its own. */
  readonly takenByOthers: { readonly rideDb: Float64Array; readonly ceilingDb: Float64Array } | null
}

/** How dialogue stands against its background before and after, and what other channels cost it. */
export function alteredDialogue(
  before: readonly DialogueLine[],
  after: readonly DialogueLine[],
  channel: DialogueChannel,
): DialogueAltered {
  const lines = before.map(({ startFrame, endFrame, overBackgroundLu }) => ({
    startSeconds: startFrame / channel.sampleRateHz,
    endSeconds: endFrame / channel.sampleRateHz,
    overBackgroundBeforeLu: overBackgroundLu,
    overBackgroundAfterLu: after.find((line) => line.startFrame === startFrame)?.overBackgroundLu ?? null,
  }))
  const changes = lines.flatMap(({ overBackgroundBeforeLu, overBackgroundAfterLu }) =>
    overBackgroundBeforeLu === null || overBackgroundAfterLu === null
      ? []
      : [overBackgroundAfterLu - overBackgroundBeforeLu],
  )
  const takenByOthers = LAYOUTS[channel.layout].includes('C') ? takenFromDialogue(channel) : null
  const middle = (of: readonly DialogueLine[]) => median(of.flatMap((line) => line.overBackgroundLu ?? []))
  const seconds = (db: Float64Array) => db.reduce((sum, each) => sum + each, 0) / HOPS_PER_SECOND
  const figures = {
    overBackgroundBeforeLu: middle(before),
    overBackgroundAfterLu: middle(after),
    medianChangeLu: median(changes),
    largestChangeLu: changes.length === 0 ? null : changes.reduce((a, b) => (Math.abs(b) > Math.abs(a) ? b : a)),
    byOtherChannels:
      takenByOthers === null
        ? null
        : { rideDbSeconds: seconds(takenByOthers.rideDb), ceilingDbSeconds: seconds(takenByOthers.ceilingDb) },
  }
  return { figures, lines, takenByOthers }
}

function takenFromDialogue(channel: DialogueChannel): NonNullable<DialogueAltered['takenByOthers']> {
  const rideDb = new Float64Array(channel.isSpoken.length)
  const ceilingDb = new Float64Array(channel.isSpoken.length)
  for (const [hop, isSpoken] of channel.isSpoken.entries()) {
    if (isSpoken !== 1) continue
    const reductionDb = -(channel.rideDb?.[hop] ?? 0)
    if (reductionDb > 0) rideDb[hop] = reductionDb * shareOfOthers(channel, hop)
    const takenDb = channel.ceilingReductionDb[hop] ?? 0
    if (takenDb > 0) ceilingDb[hop] = Math.max(0, takenDb - neededByCentre(channel, hop))
  }
  return { rideDb, ceilingDb }
}

/** Share of the channels other than C and LFE in the power around a hop, 0..1. */
function shareOfOthers({ layout, channels100ms }: DialogueChannel, hop: number): number {
  const roles = LAYOUTS[layout]
  const hopCount = channels100ms.length / roles.length
  let centre = 0
  let others = 0
  const end = Math.min(hopCount, hop + RIDE_REACH_HOPS)
  for (let at = Math.max(0, hop - RIDE_REACH_HOPS); at < end; at++) {
    for (const [index, role] of roles.entries()) {
      const power = channels100ms[at * roles.length + index] as number
      if (role === 'C') centre += power
      else if (role !== 'LFE') others += power
    }
  }
  return others > 0 ? others / (centre + others) : 0
}

/** What the ceiling would have to take of the centre alone. */
function neededByCentre({ centrePeak, rideDb, ceilingDbtp }: DialogueChannel, hop: number): number {
  let needed = 0
  for (let at = Math.max(0, hop - CEILING_REACH_HOPS); at <= hop + CEILING_REACH_HOPS; at++) {
    const peak = centrePeak[at] ?? 0
    if (peak > 0) needed = Math.max(needed, gainToDb(peak) + (rideDb?.[at] ?? 0) - (ceilingDbtp ?? 0))
  }
  return needed
}

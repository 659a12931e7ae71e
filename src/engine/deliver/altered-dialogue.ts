import {
  type AlteredDialogue,
  type DialogueLine,
  gainToDb,
  HOPS_PER_SECOND,
  LAYOUTS,
  type LayoutName,
  median,
} from '../../domain/index.ts'

/** What is known of a mix and its fit, hop by hop, where dialogue has a channel of its own. */
export type DialogueChannel = {
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

/** How dialogue stands against its background before and after, and what other channels cost it. */
export function alteredDialogue(
  before: readonly DialogueLine[],
  after: readonly DialogueLine[],
  channel: DialogueChannel,
): AlteredDialogue {
  const changes = before.flatMap(({ startFrame, overBackgroundLu }) => {
    const same = after.find((line) => line.startFrame === startFrame)?.overBackgroundLu ?? null
    return overBackgroundLu === null || same === null ? [] : [same - overBackgroundLu]
  })
  const middle = (lines: readonly DialogueLine[]) => median(lines.flatMap((line) => line.overBackgroundLu ?? []))
  return {
    overBackgroundBeforeLu: middle(before),
    overBackgroundAfterLu: middle(after),
    medianChangeLu: median(changes),
    largestChangeLu: changes.length === 0 ? null : changes.reduce((a, b) => (Math.abs(b) > Math.abs(a) ? b : a)),
    byOtherChannels: LAYOUTS[channel.layout].includes('C') ? takenByOthers(channel) : null,
  }
}

function takenByOthers(channel: DialogueChannel): NonNullable<AlteredDialogue['byOtherChannels']> {
  let rideDb = 0
  let ceilingDb = 0
  for (const [hop, isSpoken] of channel.isSpoken.entries()) {
    if (isSpoken !== 1) continue
    const reductionDb = -(channel.rideDb?.[hop] ?? 0)
    if (reductionDb > 0) rideDb += reductionDb * shareOfOthers(channel, hop)
    const takenDb = channel.ceilingReductionDb[hop] ?? 0
    if (takenDb > 0) ceilingDb += Math.max(0, takenDb - neededByCentre(channel, hop))
  }
  return { rideDbSeconds: rideDb / HOPS_PER_SECOND, ceilingDbSeconds: ceilingDb / HOPS_PER_SECOND }
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

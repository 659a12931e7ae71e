import type { DeliverableRole } from './delivery.ts'
import { bandField } from './loudness/index.ts'
import type { SegmentKind } from './segments.ts'
import type { DeliverySpec, Limit, Waiver } from './spec.ts'
import type { UpmixSettings } from './upmix-parameters.ts'

/** A stretch as it is written in a sheet, [from, to): labels where the sheet has timecode, else `H:MM:SS.mmm`. */
export type SheetStretch = { readonly from: string; readonly to: string }

export type SheetSegment = SheetStretch & { readonly kind: SegmentKind; readonly name: string | null }

export type SheetTrim = SheetStretch & {
  readonly gainDb: number
  readonly glideMs: number
  readonly reason: string | null
}

/** A stretch that the mixer wants left alone, or moved by so much at most. */
export type SheetLock = SheetStretch & { readonly toleranceDb: number }

/** A stretch in which the ride goes no lower and no higher than so much beside the static gain. */
export type SheetLimit = SheetStretch & { readonly lowestDb: number; readonly highestDb: number }

/** A ride drawn or recorded by hand: points in order of time, linear in dB between them. */
export type SheetHandRide = SheetStretch & {
  readonly points: readonly { readonly at: string; readonly gainDb: number }[]
  readonly reason: string | null
}

/** A stretch with upmix settings of its own; what it does not name is as outside of it. */
export type SheetScene = SheetStretch & {
  readonly name: string | null
  readonly glideInMs: number
  readonly glideOutMs: number
  /** Why it has these settings; for people, nothing depends on it. */
  readonly reason: string | null
  readonly settings: Readonly<Record<string, number | string>>
}

/** One file of the programme; several are reels, in order. Paths are relative to the sheet. */
export type SheetSource = {
  readonly path: string
  readonly layout: string | null
  /** What a two-track is: the setting `kind` of its upmix; null: that setting decides. */
  readonly kind: UpmixSettings['kind'] | null
  readonly order: string | null
  /** Digits of the file's hash, all of them or the first ones; null: it is not checked. */
  readonly sha256: string | null
}

/** What a sheet changes in a delivery spec for one title. */
export type SpecOverride = {
  readonly targetLkfs?: number | undefined
  readonly toleranceBelowLu?: number | undefined
  readonly toleranceAboveLu?: number | undefined
  readonly maxTruePeakDbtp?: number | undefined
  readonly maxLfeTruePeakDbtp?: number | undefined
  readonly maxLfeShortTermDbfs?: number | undefined
  readonly maxLfeOverFrontsDb?: number | undefined
  readonly maxShortTermLkfs?: number | undefined
  readonly maxMomentaryLkfs?: number | undefined
  readonly maxLoudnessRangeLu?: number | undefined
}

/** A file that the sheet asks for; `name` may hold `{id}`. */
export type SheetDeliverable = {
  readonly role: DeliverableRole
  readonly bits: 16 | 24
  readonly name: string | null
}

/** The decisions of one title, as they are written down. */
export type Sheet = {
  readonly title: {
    readonly id: string
    readonly name: string
    readonly language: string | null
    readonly deliveredOn: string | null
  }
  readonly timecode: { readonly rate: string; readonly dropFrame: boolean; readonly start: string } | null
  readonly sources: readonly SheetSource[]
  /** Where the picture beside it begins: an instant of the programme, or one before it; absent: with the first frame. */
  readonly picture?: { readonly from: string }
  /** Empty: all of it is programme. */
  readonly segments: readonly SheetSegment[]
  /** `id` of a spec, or `path` of a spec file; null: it is named where the sheet is used. */
  readonly spec: {
    readonly id: string | null
    readonly path: string | null
    readonly edition: string | null
    readonly override: SpecOverride
  } | null
  readonly upmix: {
    /** Id of starting settings; null: the defaults. */
    readonly start: string | null
    readonly settings: Readonly<Record<string, number | string>>
    readonly scenes: readonly SheetScene[]
  }
  readonly fit: {
    readonly settings: Readonly<Record<string, number | string>>
    readonly trims: readonly SheetTrim[]
    readonly locks: readonly SheetLock[]
    readonly limits?: readonly SheetLimit[]
    readonly handRides?: readonly SheetHandRide[]
  }
  readonly waivers: readonly Waiver[]
  /** Empty: what a delivery makes anyway, under its usual names. */
  readonly deliverables: readonly SheetDeliverable[]
}

/** Lines that can be waived, by the names of their fields in the measurements. */
export const WAIVABLE_LINES = [
  'programmeLoudnessLkfs',
  'dialogueLoudnessLkfs',
  'maxTruePeakDbtp',
  'maxLfeTruePeakDbtp',
  'lfe.maxShortTermDbfs',
  'lfe.overFrontsDb',
  'maxShortTermLkfs',
  'maxMomentaryLkfs',
  'loudnessRangeLu',
  'foldDown.loRo.programmeLoudnessLkfs',
  'foldDown.loRo.maxTruePeakDbtp',
] as const

/** A spec as it holds for one title: with the sheet's numbers, and no line binding that was waived. */
export function specForTitle(
  spec: DeliverySpec,
  titleName: string,
  override: SpecOverride,
  waivers: readonly Waiver[],
): DeliverySpec {
  const isWaived = (line: string) => waivers.some((waiver) => waiver.line === line)
  const source = {
    document: `the sheet of "${titleName}"`,
    edition: `over ${spec.title}`,
    clause: 'override',
    basis: 'user',
  } as const
  const limit = (line: string, asked: number | undefined, limitOfSpec: Limit | undefined): Limit | undefined => {
    const severity = isWaived(line) ? 'warn' : (limitOfSpec?.severity ?? 'fail')
    if (asked !== undefined) return { ...limitOfSpec, value: asked, severity, source }
    return limitOfSpec === undefined ? undefined : { ...limitOfSpec, severity }
  }
  const { targetLkfs, toleranceBelowLu, toleranceAboveLu } = override
  const changesTarget = [targetLkfs, toleranceBelowLu, toleranceAboveLu].some((value) => value !== undefined)
  const limits = {
    maxTruePeakDbtp: limit('maxTruePeakDbtp', override.maxTruePeakDbtp, spec.maxTruePeakDbtp),
    maxLfeTruePeakDbtp: limit('maxLfeTruePeakDbtp', override.maxLfeTruePeakDbtp, spec.maxLfeTruePeakDbtp),
    maxLfeShortTermDbfs: limit('lfe.maxShortTermDbfs', override.maxLfeShortTermDbfs, spec.maxLfeShortTermDbfs),
    maxLfeOverFrontsDb: limit('lfe.overFrontsDb', override.maxLfeOverFrontsDb, spec.maxLfeOverFrontsDb),
    maxShortTermLkfs: limit('maxShortTermLkfs', override.maxShortTermLkfs, spec.maxShortTermLkfs),
    maxMomentaryLkfs: limit('maxMomentaryLkfs', override.maxMomentaryLkfs, spec.maxMomentaryLkfs),
    maxLoudnessRangeLu: limit('loudnessRangeLu', override.maxLoudnessRangeLu, spec.maxLoudnessRangeLu),
  }
  const asked = Object.entries(limits).filter((entry) => entry[1] !== undefined)
  return {
    ...spec,
    programmeLoudness: {
      targetLkfs: targetLkfs ?? spec.programmeLoudness.targetLkfs,
      toleranceBelowLu: toleranceBelowLu ?? spec.programmeLoudness.toleranceBelowLu,
      toleranceAboveLu: toleranceAboveLu ?? spec.programmeLoudness.toleranceAboveLu,
      source: changesTarget ? source : spec.programmeLoudness.source,
    },
    ...Object.fromEntries(asked),
    ...(spec.bandLevels !== undefined && {
      bandLevels: spec.bandLevels.map((asked) => (isWaived(bandField(asked)) ? { ...asked, severity: 'warn' } : asked)),
    }),
    waivers,
  }
}

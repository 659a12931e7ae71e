import type { DeliveryReport } from '../../domain/index.ts'

/** Version of the report's and the manifest's document format. */
export const DOCUMENT_VERSION = 1

/** The document `report.json`, which `deliver --json` prints too. Curves over time are those of the drawing: extremes of columns. */
export function reportJson(report: DeliveryReport) {
  const { tool, title, conforms, verdict, passes, source, spec, deliverables } = report
  const { foldDownLock, alteration, findings, margins, settings, cautions } = report
  return {
    version: DOCUMENT_VERSION,
    tool,
    title,
    conforms,
    verdict,
    passes,
    source,
    spec: { id: spec.id, title: spec.title, edition: spec.edition },
    deliverables,
    foldDownLock,
    alteration: { ...alteration, overTime: overTime(report) },
    findings,
    margins,
    settings,
    cautions,
  }
}

/** The alteration along the programme; null where nothing was delivered beside a source. */
function overTime({ history, ride, lfeRide, altered, dialogue, deliverables }: DeliveryReport) {
  const { source, delivered } = history
  if (source === null || deliverables.length === 0) return null
  return {
    columnSeconds: delivered.columnSeconds,
    shortTermBeforeLkfs: source.shortTermLkfs.high.map(toHundredths),
    shortTermAfterLkfs: delivered.shortTermLkfs.high.map(toHundredths),
    rideDb: ride === null ? null : ride.gainDb.low.map(toHundredths),
    corridorDb: corridorOf(ride),
    lfeRideDb: lfeRide === null ? null : lfeRide.gainDb.low.map(toHundredths),
    lfeCorridorDb: corridorOf(lfeRide),
    ceilingDb: altered === null ? null : altered.ceilingDb.map((db) => toHundredths(db) ?? 0),
    octaves:
      altered === null
        ? null
        : altered.octaves.map(({ centreHz, removedDb }) => ({ centreHz, removedDb: removedDb.map(toHundredths) })),
    dialogue: dialogue === null ? null : dialogueOverTime(dialogue),
  }
}

function corridorOf(ride: DeliveryReport['ride']) {
  const corridor = ride?.corridorDb ?? null
  return corridor && { lowest: corridor.lowest.map(toHundredths), highest: corridor.highest.map(toHundredths) }
}

function dialogueOverTime({ lines, byOtherChannels }: NonNullable<DeliveryReport['dialogue']>) {
  const rounded = (values: readonly number[]) => values.map((db) => toHundredths(db) ?? 0)
  return {
    lines: lines.map(({ startSeconds, endSeconds, overBackgroundBeforeLu, overBackgroundAfterLu }) => ({
      startSeconds,
      endSeconds,
      overBackgroundBeforeLu: toHundredths(overBackgroundBeforeLu),
      overBackgroundAfterLu: toHundredths(overBackgroundAfterLu),
    })),
    byOtherChannels:
      byOtherChannels === null
        ? null
        : { rideDb: rounded(byOtherChannels.rideDb), ceilingDb: rounded(byOtherChannels.ceilingDb) },
  }
}

function toHundredths(value: number | null): number | null {
  return value === null ? null : Math.round(value * 100) / 100
}

/** A file of a delivery as the manifest lists it; `path` is its name inside the folder. */
export type ManifestFile = {
  readonly path: string
  /** What it is: a deliverable's role, or `report`. */
  readonly role: string
  readonly bytes: number
  readonly sha256: string
}

/** The text of `manifest.json`, the commit record of a delivery. The same delivery gives the same text. */
export function manifest(report: Pick<DeliveryReport, 'tool' | 'title'>, files: readonly ManifestFile[]): string {
  const listed = files.map(({ path, role, bytes, sha256 }) => ({ path, role, bytes, sha256 }))
  const { name, version, kernelsSha256 } = report.tool
  const document = {
    version: DOCUMENT_VERSION,
    tool: { name, version, kernelsSha256 },
    title: report.title.id,
    files: listed,
  }
  return `${JSON.stringify(document, null, 2)}\n`
}

/**
 * The same list as plain checksum lines, which `sha256sum --check` reads at the other end.
 * @source GNU coreutils manual, sha256sum: digest, two spaces, name
 */
export function checksumLines(files: readonly ManifestFile[]): string {
  return files.map(({ path, sha256 }) => `${sha256}  ${path}\n`).join('')
}

import { loudnessOf, thinnestMargins, toHops, windowMeans } from '../domain/index.ts'
import type { PartEnergies } from '../protocol/index.ts'
import type { StudiedTitle } from './study-title.ts'
import type { Standing } from './title-memory.ts'

/** Columns of the small picture of a title. */
const PICTURE_COLUMNS = 120
const SHORT_TERM_HOPS = 30

/** How the shelf lists a title that was measured. */
export function standingOf(studied: StudiedTitle): Standing {
  const fails = studied.findings.some(({ severity }) => severity === 'fail')
  const warns = studied.findings.some(({ severity }) => severity === 'warn')
  const conforming = warns ? 'needs-ears' : 'conforms'
  const state = studied.spec === null ? 'no-spec' : fails ? 'does-not-conform' : conforming
  return { state, measured: measuredOf(studied) }
}

function measuredOf(studied: StudiedTitle): Standing['measured'] {
  const { measurements, spec, margins, passages, layout, energies } = studied
  const [thinnest] = thinnestMargins(margins, 1)
  return {
    layout,
    durationSeconds: measurements.durationSeconds,
    programmeLoudnessLkfs: measurements.programmeLoudnessLkfs,
    specTitle: spec?.title ?? null,
    thinnest: thinnest === undefined ? null : { line: thinnest.line, margin: thinnest.margin, unit: thinnest.unit },
    shortTermLkfs: pictureOf(energies),
    passageCount: passages.filter(({ kind }) => kind !== 'thinnest-margin').length,
  }
}

/** The highest short-term loudness in each of equal columns over the parts, one after the other. */
function pictureOf(energies: readonly PartEnergies[]): readonly (number | null)[] {
  const powers = energies.flatMap(({ powers10ms }) => Array.from(windowMeans(toHops(powers10ms), SHORT_TERM_HOPS)))
  return Array.from({ length: Math.min(PICTURE_COLUMNS, powers.length) }, (_, column, count = PICTURE_COLUMNS) => {
    const from = Math.floor((column * powers.length) / count)
    const to = Math.max(from + 1, Math.floor(((column + 1) * powers.length) / count))
    const highest = powers.slice(from, to).reduce((most, power) => Math.max(most, power), 0)
    return highest === 0 ? null : loudnessOf(highest)
  })
}

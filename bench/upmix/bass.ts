// What keeping bass out of C does to the bass of one woofer and to the dialogue, for the corners that a mixer would try.
// npx tsx bench/upmix/bass.ts [--recorded-only]
import { CENTRE_LOW_CUT_OFF_HZ, findUpmixStart, type UpmixSettings } from '../../src/domain/index.ts'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { bassSumDb } from '../../test/testkit/mixes-masters.ts'
import { judgeMix } from '../../test/testkit/mixes-metrics.ts'
import { makeRecordedStems } from '../../test/testkit/mixes-recorded.ts'
import { makeStems, OTHER_SEED_SET, type StemSet, stemsOf, summed, TUNING_SET } from '../../test/testkit/mixes-stems.ts'
import { shown, table } from './tables.ts'

const CORNERS_HZ = [CENTRE_LOW_CUT_OFF_HZ, 80, 100, 120]

/** A usual crossover between loudspeakers and woofer. @source common practice */
const CROSSOVER_HZ = 80

type Sheets = Readonly<Record<string, Partial<UpmixSettings>>>

const DEFAULTS: Sheets = { defaults: {} }

/** Starting settings in which dialogue counts most and the centre is whole. */
const STARTS: Sheets = Object.fromEntries(
  ['drama-dialogue', 'documentary'].map((id) => [id, findUpmixStart(id)!.settings]),
)

const kernels = loadKernels(384 * 1024 * 1024)

/** The third octave furthest from the stereo's, with its sign. */
function worst(bands: readonly { readonly db: number }[]): number {
  return bands.reduce((most, { db }) => (Math.abs(db) > Math.abs(most) ? db : most), 0)
}

function rowOf(set: StemSet, settings: Partial<UpmixSettings>): readonly string[] {
  const bass = (['music', 'full'] as const).flatMap((name) => {
    const bands = bassSumDb(kernels, summed(stemsOf(set, name)), settings)
    return [worst(bands.filter(({ hz }) => hz <= CROSSOVER_HZ)), worst(bands)]
  })
  const full = judgeMix(kernels, set, 'full', settings)
  return [
    ...bass.map(shown),
    shown(full.dialogueInCentrePercent),
    shown(full.dialogueCleannessDb),
    shown(full.centreMutedDb),
    shown(full.pulledApartDb),
    shown(full.effectsInCentreDb),
    shown(full.imageErrorMeanDegrees),
    shown(full.imageErrorMaxDegrees),
  ]
}

function printSet(title: string, set: StemSet, sheets: Sheets): void {
  const rows = Object.entries(sheets).flatMap(([sheet, settings]) =>
    CORNERS_HZ.map((centreLowCutHz) => [
      sheet,
      centreLowCutHz === CENTRE_LOW_CUT_OFF_HZ ? 'off' : String(centreLowCutHz),
      ...rowOf(set, { ...settings, centreLowCutHz }),
    ]),
  )
  table(
    title,
    [
      'settings',
      'centreLowCutHz',
      `music: bass to ${CROSSOVER_HZ} Hz, dB`,
      'to 200 Hz, dB',
      `full: bass to ${CROSSOVER_HZ} Hz, dB`,
      'to 200 Hz, dB',
      'dialogue in C %',
      'artefact ratio dB',
      'C muted dB',
      'pulled apart dB',
      'effects in C dB',
      'image mean',
      'largest',
    ],
    rows,
  )
}

printSet('Recorded set, never tuned on', makeRecordedStems(), { ...DEFAULTS, ...STARTS })
if (!process.argv.includes('--recorded-only')) {
  printSet('Tuning set', makeStems(TUNING_SET), DEFAULTS)
  printSet('Other seed', makeStems(OTHER_SEED_SET), DEFAULTS)
}

/**
 * One row of the parameter tables, from which settings, `--set`, help and documentation are made.
 * `glide` says how a value may change over time: `ramp` = sample-accurate gain ramp, `frame` = interpolated per
 * transform hop, `fade` = both settings run and are mixed, `fixed` = one value a title.
 */
export type Parameter = {
  readonly unit: string | null
  readonly glide: 'ramp' | 'frame' | 'fade' | 'fixed'
  /** What it does, in one sentence to the mixer. */
  readonly sentence: string
} & (NumberRange | Choice)

type NumberRange = { readonly kind: 'number'; readonly min: number; readonly max: number; readonly default: number }
type Choice = { readonly kind: 'choice'; readonly choices: readonly string[]; readonly default: string }

export type ParameterTable = Readonly<Record<string, Parameter>>

/** The settings that a table describes. A table is written `as const satisfies ParameterTable`. */
export type SettingsOf<T extends ParameterTable> = {
  readonly [K in keyof T]: T[K] extends { readonly choices: readonly (infer C)[] } ? C : number
}

export function defaultSettings<T extends ParameterTable>(table: T): SettingsOf<T> {
  return Object.fromEntries(Object.entries(table).map(([name, row]) => [name, row.default])) as SettingsOf<T>
}

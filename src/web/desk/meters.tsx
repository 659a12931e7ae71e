import { type DeliverySpec, LAYOUTS, type LayoutName, printFigure } from '../../domain/index.ts'
import type { Speakers } from '../listen/heard.ts'
import type { MeterReading } from '../listen/heard-meter.ts'

/** What the water of the gauge stands between, in LKFS. */
const LOWEST_LKFS = -45
const HIGHEST_LKFS = -5
/** The line under a peak begins here, in dBTP; it ends at full scale. */
const LOWEST_PEAK_DBTP = -48

/** How loud what is heard is, ahead of the monitor: momentary and short-term on the spec's line, true peak of each output. */
export function Meters({
  reading,
  spec,
  outputs,
}: {
  readonly reading: MeterReading | null
  readonly spec: DeliverySpec | null
  readonly outputs: readonly string[]
}) {
  if (reading === null) return null
  const { momentaryLkfs, shortTermLkfs, peaksDbtp, heldPeaksDbtp } = reading
  const ceiling = spec?.maxTruePeakDbtp?.value ?? null
  return (
    <section className="meters" aria-label="Meters of what is heard, ahead of the monitor">
      <span className="slate">momentary</span>
      <output className="figure">{level(momentaryLkfs)}</output>
      <Gauge momentaryLkfs={momentaryLkfs} shortTermLkfs={shortTermLkfs} spec={spec} />
      <span className="slate">short-term</span>
      <output className="figure">{level(shortTermLkfs)}</output>
      <span className="slate">LKFS</span>
      <span className="slate peaks-name">true peak, highest of 3 s</span>
      {outputs.map((name, output) => (
        <Peak
          key={name}
          name={name}
          nowDbtp={peaksDbtp[output]!}
          heldDbtp={heldPeaksDbtp[output]!}
          ceilingDbtp={ceiling}
        />
      ))}
      <span className="slate">dBTP</span>
    </section>
  )
}

/** Water against the hull: short-term fills, momentary is a line over it, the spec's target and tolerance lie behind. */
function Gauge({
  momentaryLkfs,
  shortTermLkfs,
  spec,
}: Pick<MeterReading, 'momentaryLkfs' | 'shortTermLkfs'> & { readonly spec: DeliverySpec | null }) {
  const at = (lkfs: number) =>
    (100 * (clamp(lkfs, LOWEST_LKFS, HIGHEST_LKFS) - LOWEST_LKFS)) / (HIGHEST_LKFS - LOWEST_LKFS)
  const asked = spec?.programmeLoudness ?? null
  const high = asked === null ? HIGHEST_LKFS : asked.targetLkfs + asked.toleranceAboveLu
  const low = asked === null ? HIGHEST_LKFS : asked.targetLkfs - asked.toleranceBelowLu
  const filled = shortTermLkfs === null ? 0 : at(shortTermLkfs)
  return (
    <svg className="gauge" viewBox="0 0 100 16" preserveAspectRatio="none" aria-hidden="true">
      <pattern id="gauge-above" width="1.6" height="5" patternUnits="userSpaceOnUse" patternTransform="skewX(-30)">
        <rect width="0.7" height="5" className="hatch" />
      </pattern>
      {asked !== null && <rect className="tolerance" x={at(low)} width={at(high) - at(low)} height="16" />}
      <rect className="water" y="3" width={Math.min(filled, at(high))} height="10" />
      {filled > at(high) && <rect x={at(high)} y="3" width={filled - at(high)} height="10" fill="url(#gauge-above)" />}
      {asked !== null && <Upright className="target" x={at(asked.targetLkfs)} />}
      {momentaryLkfs !== null && <Upright className="momentary" x={at(momentaryLkfs)} />}
    </svg>
  )
}

function Upright({ className, x }: { readonly className: string; readonly x: number }) {
  return <line className={className} x1={x} x2={x} y1="0" y2="16" vectorEffect="non-scaling-stroke" />
}

/** A channel's highest peak of the last 3 s, and a line as long as it is high now. */
function Peak({
  name,
  nowDbtp,
  heldDbtp,
  ceilingDbtp,
}: {
  readonly name: string
  readonly nowDbtp: number
  readonly heldDbtp: number
  readonly ceilingDbtp: number | null
}) {
  const isOver = ceilingDbtp !== null && heldDbtp > ceilingDbtp
  const width = 100 * (1 - clamp(nowDbtp, LOWEST_PEAK_DBTP, 0) / LOWEST_PEAK_DBTP)
  return (
    <span className={isOver ? 'peak over' : 'peak'}>
      <span className="slate">{name}</span> <output className="figure">{level(heldDbtp)}</output>
      {isOver && <span className="verdict"> over</span>}
      <span className="height" style={{ width: `${width}%` }} />
    </span>
  )
}

/** What the outputs are called that something is heard from. */
export function heardOutputs(layout: LayoutName, speakers: Speakers, outputs: number): readonly string[] {
  const roles = LAYOUTS[layout]
  if (speakers === 'own' && roles.length > 1 && outputs >= roles.length) return roles
  if (speakers === 'lt-rt') return ['Lt', 'Rt']
  if (roles.length <= 2 || speakers === 'mono' || speakers === 'small') return ['L', 'R']
  return ['Lo', 'Ro']
}

/** A dash before anything is known, and in silence. */
function level(value: number | null): string {
  return value !== null && Number.isFinite(value) ? printFigure(value) : '–'
}

function clamp(value: number, low: number, high: number): number {
  return Math.max(low, Math.min(high, value))
}

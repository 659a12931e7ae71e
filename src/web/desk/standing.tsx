import {
  isInside,
  type Margin,
  type Measurements,
  margins,
  printFigure,
  type SpecLine,
  specLines,
} from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { signed } from './words.ts'

const ROOM_SHOWN_DB = 6

/** How the title stands: every line of the spec, before and with the trims. */
export function Standing({
  head,
  now,
  hasTrims,
  onWaive,
  onInsist,
}: {
  readonly head: TitleHead
  readonly now: Measurements
  readonly hasTrims: boolean
  readonly onWaive: (line: string) => void
  readonly onInsist: (line: string) => void
}) {
  const { spec, measurements, role } = head
  if (spec === null) {
    return (
      <section aria-labelledby="stands">
        <h2 id="stands">How it stands</h2>
        <p className="slate">Name a delivery spec above, and every line of it appears here.</p>
        <dl className="plain-figures">
          <dt>programme loudness</dt>
          <dd>{printFigure(now.programmeLoudnessLkfs)} LKFS</dd>
          <dt>loudness range</dt>
          <dd>{printFigure(now.loudnessRangeLu)} LU</dd>
          <dt>true peak</dt>
          <dd>{printFigure(now.maxTruePeakDbtp)} dBTP</dd>
        </dl>
      </section>
    )
  }
  const before = margins(measurements, spec, role)
  const after = margins(now, spec, role)
  const lines = specLines(now, spec, role)
  return (
    <section aria-labelledby="stands">
      <h2 id="stands">How it stands</h2>
      <table className="standing">
        <thead>
          <tr>
            <th scope="col">line</th>
            <th scope="col">{hasTrims ? 'before → now' : 'measured'}</th>
            <th scope="col">allowed</th>
            <th scope="col">margin</th>
          </tr>
        </thead>
        <tbody>
          {lines.map((line, index) => (
            <Row
              key={line.field}
              line={line}
              was={hasTrims ? before[index]!.measured : line.measured}
              margin={after[index]!}
              isWaived={spec.waivers?.some((waiver) => waiver.line === line.field) ?? false}
              onWaive={() => onWaive(line.field)}
              onInsist={() => onInsist(line.field)}
            />
          ))}
        </tbody>
      </table>
      <StaticGain now={now} head={head} />
    </section>
  )
}

function Row({
  line,
  was,
  margin,
  isWaived,
  onWaive,
  onInsist,
}: {
  readonly line: SpecLine
  readonly was: number | null
  readonly margin: Margin
  readonly isWaived: boolean
  readonly onWaive: () => void
  readonly onInsist: () => void
}) {
  const { measured, severity, low, high } = line
  const isMet = measured !== null && isInside(line, measured)
  const isMoved = was !== null && measured !== null && printFigure(was) !== printFigure(measured)
  return (
    <tr className={isMet ? 'met' : severity === 'warn' ? 'warned' : 'missed'}>
      <th scope="row">
        {line.name} <span className="slate">{line.unit}</span>
        {(isWaived || !isMet) && (
          <span className="state-of-line">
            {isWaived ? (
              <button type="button" className="plain" onClick={onInsist} title="Hold the title to this line again">
                waived
              </button>
            ) : (
              <>
                <span className="verdict">{severity === 'warn' ? 'look' : 'missed'}</span>
                <button type="button" className="plain" onClick={onWaive} title="Waive this line with a reason">
                  waive
                </button>
              </>
            )}
          </span>
        )}
      </th>
      <td>
        {isMoved && (
          <>
            <span className="slate">{printFigure(was)} →</span>{' '}
          </>
        )}
        {printFigure(measured)}
      </td>
      <td>{allowed(low, high)}</td>
      <td>
        <MarginBar margin={margin} />
      </td>
    </tr>
  )
}

/** What the fit would add to the whole mix. */
function StaticGain({ now, head }: { readonly now: Measurements; readonly head: TitleHead }) {
  const { spec } = head
  const [total] = spec === null ? [] : specLines(now, spec, head.role)
  if (spec === null || total === undefined || total.measured === null) return null
  const gainDb = spec.programmeLoudness.targetLkfs - total.measured
  return (
    <p className="slate small">
      To stand on the target of {printFigure(spec.programmeLoudness.targetLkfs)} LKFS, a delivery moves the whole mix by{' '}
      <b>{signed(gainDb)} dB</b>, and what is above a limit then is met by ride and ceiling.
    </p>
  )
}

/** Room as a bar from the middle: to the right inside, to the left outside, hatched. */
function MarginBar({ margin: { margin, unit } }: { readonly margin: Margin }) {
  if (margin === null) return <span className="slate">not measured</span>
  const share = Math.max(-1, Math.min(1, margin / ROOM_SHOWN_DB)) * 50
  return (
    <span className="margin-bar">
      <span className="figure">
        {signed(margin)} <span className="slate">{unit === 'LKFS' || unit === 'LU' ? 'LU' : 'dB'}</span>
      </span>
      <span className="bar" aria-hidden="true">
        <span
          className={margin < 0 ? 'outside' : 'inside'}
          style={margin < 0 ? { right: '50%', width: `${-share}%` } : { left: '50%', width: `${share}%` }}
        />
      </span>
    </span>
  )
}

function allowed(low: number | null, high: number): string {
  return low === null ? `≤ ${printFigure(high)}` : `${printFigure(low)} to ${printFigure(high)}`
}

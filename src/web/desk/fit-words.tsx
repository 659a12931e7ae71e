import type { WorkMessage } from '../../protocol/index.ts'
import { extentOf, type FitCurves } from './fit-curves.ts'
import type { useFit } from './use-fit.ts'
import { signed } from './words.ts'
import { WorkBar } from './work-bar.tsx'

/** What the fit comes to, or how to find it. */
export function FitWords({
  fit,
  curves,
  work,
}: {
  readonly fit: ReturnType<typeof useFit>
  readonly curves: FitCurves | null
  readonly work: WorkMessage | null
}) {
  if (fit.isStale && fit.problem !== null) return <span className="refusal">{fit.problem}</span>
  if (fit.isStale) {
    const isTold = work?.state === 'running' || work?.state === 'waiting'
    return isTold ? <WorkBar work={work} /> : <span className="slate">finding the fit</span>
  }
  if (curves !== null && fit.isOfThis) return <output>{summaryOf(curves)}</output>
  return (
    <>
      <button type="button" onClick={fit.want}>
        Find the fit
      </button>
      <span className="slate">
        {curves === null
          ? 'to see its ride inside the corridor, and what the ceiling and the bands take. '
          : 'anew: these curves are of the sheet before its last change. '}
        <kbd>F</kbd>
      </span>
    </>
  )
}

function summaryOf({ staticGainDb, ride, lfeRide, ceilingLossDb, bands, feasible }: FitCurves): string {
  const rideSpan = extentOf(ride === null ? [] : [ride.gainDb])
  const ceilingDb = extentOf(ceilingLossDb === null ? [] : [ceilingLossDb]).bottomDb
  return [
    ...(feasible ? [] : ['no gain makes it conform; the nearest']),
    `one gain of ${signed(staticGainDb)} dB`,
    ride === null
      ? 'no ride'
      : `a ride from ${signed(rideSpan.bottomDb)} to ${signed(rideSpan.topDb)} dB, the least movement in its corridor`,
    ...(lfeRide === null ? [] : [`the LFE rides alone, by up to ${signed(extentOf([lfeRide.gainDb]).bottomDb)} dB`]),
    ceilingDb === 0 ? 'the ceiling rests' : `the ceiling takes up to ${signed(-ceilingDb).slice(1)} LU`,
    ...(bands.length === 0 ? [] : [`bands: ${bands.map(({ name }) => name).join(', ')}`]),
  ].join(' · ')
}

import { dbToGain, type FrameRange } from '../../domain/index.ts'
import type { ListeningPlan, TitleHead } from '../../protocol/index.ts'
import type { SignalLayouts } from '../listen/chunk.ts'
import { busLayout, matrixOf, type RouteName, type Shares, type Speakers, sharesOf } from '../listen/heard.ts'
import type { Way } from '../listen/match.ts'

const SPEAKERS: readonly Speakers[] = ['own', 'lo-ro', 'lt-rt', 'mono', 'small']
const ROUTES: readonly RouteName[] = ['source', 'trimmed', 'upmix', 'fitted']
/** Seconds over which levels are matched: of the stretch, or from where it plays. */
const MATCHED_SECONDS = 10

/** The layouts of what a title can be heard as once it is planned. */
export function possibleLayouts({ layout }: Pick<TitleHead, 'layout'>): SignalLayouts {
  if (layout === '2.0') return { source: layout, upmix: '5.1', fitted: '5.1' }
  return { source: layout, ...(layout !== 'mono' && { fitted: layout }) }
}

/** The layouts of what can be heard by a plan. */
export function heardLayouts(head: Pick<TitleHead, 'layout'>, plan: ListeningPlan | null): SignalLayouts {
  const { source, upmix, fitted } = possibleLayouts(head)
  return {
    ...(source && { source }),
    ...(plan?.upmix && upmix && { upmix }),
    ...(plan?.gain && fitted && { fitted }),
  }
}

function wayName(route: RouteName, speakers: Speakers): string {
  return `${route} ${speakers}`
}

/** Every way to listen that levels are matched between. */
export function waysOf(head: TitleHead, plan: ListeningPlan | null, outputs: number): readonly Way[] {
  const layouts = heardLayouts(head, plan)
  const layout = busLayout(possibleLayouts(head))
  return ROUTES.filter((route) => layouts[route === 'trimmed' ? 'source' : route] !== undefined).flatMap((route) =>
    SPEAKERS.map((speakers) => ({
      name: wayName(route, speakers),
      shares: sharesOf(route, layouts),
      matrix: matrixOf(layout, speakers, outputs, () => true),
      isSmall: speakers === 'small',
    })),
  )
}

/** The beginning of the chosen stretch, or what is heard next, in whole seconds. */
export function matchedRange(
  { frameCount, sampleRateHz }: TitleHead['ground'],
  stretch: FrameRange | null,
  frame: number,
): FrameRange {
  const wanted = stretch?.startFrame ?? frame
  const longest = MATCHED_SECONDS * sampleRateHz
  const latest = Math.max(0, Math.min(wanted, frameCount - longest))
  const startFrame = Math.floor(latest / sampleRateHz) * sampleRateHz
  const length = stretch === null ? longest : Math.min(longest, stretch.endFrame - startFrame)
  return { startFrame, endFrame: Math.min(frameCount, startFrame + length) }
}

/** Each route brought down to the softest way of all: nothing gets louder than it was. */
export function matchedShares(
  shares: Shares,
  speakers: Speakers,
  loudness: ReadonlyMap<string, number | null>,
): Shares {
  const measured = [...loudness.values()].filter((lkfs) => lkfs !== null)
  const softest = Math.min(...measured)
  const matched = (route: RouteName) => {
    const lkfs = loudness.get(wayName(route, speakers)) ?? null
    return lkfs === null ? shares[route] : shares[route] * dbToGain(softest - lkfs)
  }
  return { source: matched('source'), trimmed: matched('trimmed'), upmix: matched('upmix'), fitted: matched('fitted') }
}

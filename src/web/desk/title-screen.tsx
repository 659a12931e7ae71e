import { useCallback, useEffect, useMemo } from 'react'
import {
  type FrameRange,
  LAYOUTS,
  type Measurements,
  type MixerGain,
  type Passage,
  printInstant,
  specForTitle,
} from '../../domain/index.ts'
import { findSpec } from '../../specs/index.ts'
import { type OpenedTitle, orderMeasurement } from './calls.ts'
import { Drawer } from './drawer.tsx'
import { withoutTrim, withoutWaiver, withTrimGain } from './edits.ts'
import { fitCurvesOf } from './fit-curves.ts'
import { FitWords } from './fit-words.tsx'
import { loudestFrame } from './loudest.ts'
import { TitleNumbers } from './numbers.ts'
import { PassageList } from './passage-list.tsx'
import { PicturePanel } from './picture/picture-panel.tsx'
import { usePicturePlace } from './picture/use-picture-place.ts'
import type { SceneChoice } from './scene-edits.ts'
import { SceneList } from './scene-list.tsx'
import { Standing } from './standing.tsx'
import type { Scene } from './timeline/scene.ts'
import { Timeline, type TimelineActs } from './timeline/timeline.tsx'
import { TitleHeader } from './title-header.tsx'
import { Transport } from './transport.tsx'
import { type HandRiding, useHandRide } from './use-hand-ride.ts'
import { useKeys } from './use-keys.ts'
import { canBeFitted, useTitleListening } from './use-listening.ts'
import { useScenes } from './use-scenes.ts'
import { useTitle } from './use-title.ts'
import { useTrimming } from './use-trimming.ts'
import { useView } from './use-view.ts'
import { useWaveform } from './use-waveform.ts'
import { WorkBar } from './work-bar.tsx'
import { type Works, workOn } from './works.ts'

/** One title: how it stands on the left, where in the middle, what to do below. */
export function TitleScreen({
  opened,
  works,
  onOutdated,
}: {
  readonly opened: OpenedTitle
  readonly works: Works
  /** The sheet on disk asks for another measurement than the one that is shown. */
  readonly onOutdated: (titleId: string) => void
}) {
  const title = useTitle(opened)
  const { decisions, change, placed } = title
  const { sheet } = decisions
  const head = useMemo(
    () => withDecidedSpec(opened.head, sheet, title.isOutdated),
    [opened.head, sheet, title.isOutdated],
  )
  useMeasuredAgain(title, onOutdated)
  const { clock, sampleRateHz, frameCount } = head.ground
  const durationSeconds = frameCount / sampleRateHz
  const label = useCallback((frame: number) => printInstant(clock, frame, sampleRateHz), [clock, sampleRateHz])
  const ride = useHandRide(head, title)
  const { still, points, now, after, ...heard } = useNumbers(opened, placed.gains, ride)
  const view = useView(durationSeconds)
  const { seen, reading, selection, chosenTrim } = view

  const goTo = (passage: Passage) => {
    view.goTo(passage, sampleRateHz)
    listening.seek(passage.startFrame)
  }
  const passage = head.passages.find((one) => isSamePlace(one, view.passage)) ?? null
  const chosenPassage = passage?.rank ?? null
  const range: FrameRange | null = selection ?? passage
  const listening = useTitleListening(head, title, { ...heard, ride }, range)
  const trimming = useTrimming(head, title, view, { range, passage })
  const cursor = () => (view.reading === null ? listening.state.frame : Math.round(view.reading * sampleRateHz))
  const scenes = useScenes(head, title, view.chosenScene, view.chooseScene, cursor)
  const { waveform, ...channels } = useWaveform(opened.head, title.titleId)
  const picture = usePicturePlace()
  const acts = actsOf(view, listening, title, scenes, channels.toggle)
  useTitleKeys(head, title, view, { channels, picture, listening, scenes, ride, after, passage, goTo, trimming })
  const fitLanes = useFitLanes(head, listening.fit)
  const scene: Scene = {
    ...still,
    ...placed,
    seen,
    reading,
    selection,
    chosenTrim,
    after,
    spec: head.spec,
    passages: head.passages,
    chosenPassage,
    chosenScene: stillThere(view.chosenScene, placed.scenes.length),
    isUpmixed: head.layout === '2.0',
    points,
    ...fitLanes,
    waveform,
    playing: listening.state.frame,
    label,
  }
  return (
    <div className="title">
      <TitleHeader head={head} title={title} works={works} now={now} />
      <Column head={head} now={now} scene={scene} title={title} view={view} scenes={scenes} works={works} goTo={goTo} />
      <PicturePanel head={head} title={title} heard={listening.heard} place={picture} />
      <main>
        <Timeline scene={scene} acts={acts} words={inWords(head.name, now.programmeLoudnessLkfs, head.passages.length)}>
          <FitWords fit={listening.fit} curves={fitLanes.fit} work={workOn(works, 'plan', title.titleId)} />
        </Timeline>
      </main>
      <Transport head={head} listening={listening} works={works} curves={after} />
      <Drawer
        scene={scene}
        head={head}
        sheet={sheet}
        placed={placed}
        problem={title.problem}
        passage={passage}
        range={range}
        waiving={view.waiving}
        sceneActs={scenes}
        onChange={change}
        trimming={trimming}
        onNextPassage={() => step(head.passages, chosenPassage, 1, goTo)}
        onWaive={view.setWaiving}
        onSettled={acts.onSettled}
        onWaived={() => view.setWaiving(null)}
        onClose={view.clear}
      />
    </div>
  )
}

/** What the keys do on this screen. */
function useTitleKeys(
  head: OpenedTitle['head'],
  { decisions, dispatch, change }: ReturnType<typeof useTitle>,
  view: ReturnType<typeof useView>,
  {
    channels,
    picture,
    listening,
    scenes,
    ride,
    after,
    passage,
    goTo,
    trimming,
  }: {
    readonly channels: Pick<ReturnType<typeof useWaveform>, 'toggleAll'>
    readonly picture: ReturnType<typeof usePicturePlace>
    readonly listening: ReturnType<typeof useTitleListening>
    readonly scenes: ReturnType<typeof useScenes>
    readonly ride: HandRiding
    readonly after: Scene['after']
    readonly passage: Passage | null
    readonly goTo: (passage: Passage) => void
    readonly trimming: ReturnType<typeof useTrimming>
  },
): void {
  const chosen = passage?.rank ?? null
  useKeys({
    ...scenes.keys,
    ...listening.keys,
    loudest: () => listening.seek(loudestFrame(after, head.ground.frameCount, head.ground.sampleRateHz)),
    undo: () => (ride.isRiding ? ride.cancel() : dispatch({ kind: 'undo' })),
    redo: () => dispatch({ kind: 'redo' }),
    next: () => step(head.passages, chosen, 1, goTo),
    previous: () => step(head.passages, chosen, -1, goTo),
    trim: trimming.trim,
    waveforms: channels.toggleAll,
    picture: () => head.pictures.length > 0 && picture.fold(),
    findFit: () => canBeFitted(head) && listening.fit.want(),
    remove: () => (view.chosenTrim === null ? scenes.remove() : change(withoutTrim(decisions.sheet, view.chosenTrim))),
  })
}

/** How the title stands, where to look, and its scenes. */
function Column({
  head,
  now,
  scene,
  title,
  view,
  scenes,
  works,
  goTo,
}: {
  readonly head: OpenedTitle['head']
  readonly now: Measurements
  readonly scene: Scene
  readonly title: ReturnType<typeof useTitle>
  readonly view: ReturnType<typeof useView>
  readonly scenes: ReturnType<typeof useScenes>
  readonly works: Works
  readonly goTo: (passage: Passage) => void
}) {
  const { change, decisions, titleId } = title
  return (
    <aside aria-label="How it stands">
      <Standing
        head={head}
        now={now}
        hasTrims={scene.points !== null}
        onWaive={view.setWaiving}
        onInsist={(line) => change(withoutWaiver(decisions.sheet, line))}
      />
      {title.isOutdated && <MeasuredAgain title={title} works={works} />}
      <PassageList head={head} trims={scene.trims} chosen={scene.chosenPassage} label={scene.label} onChoose={goTo} />
      {scene.isUpmixed && (
        <SceneList scene={scene} acts={scenes} work={workOn(works, 'scenes', titleId)} onChoose={view.chooseScene} />
      )}
    </aside>
  )
}

/** What the timeline does to what is seen and decided. */
function actsOf(
  view: ReturnType<typeof useView>,
  { seek, scrub }: Pick<ReturnType<typeof useTitleListening>, 'seek' | 'scrub'>,
  { decisions, change, dispatch, placed }: ReturnType<typeof useTitle>,
  { onBorder, onGlide }: ReturnType<typeof useScenes>,
  onOpenChannel: (channel: number) => void,
): TimelineActs {
  return {
    onSeen: view.setSeen,
    onRead: view.setReading,
    onSelect: view.select,
    onSeek: seek,
    onScrub: scrub,
    onLetGo: seek,
    onChooseTrim: view.chooseTrim,
    onTrimGain: (index, gainDb) => change(withTrimGain(decisions.sheet, index, gainDb, placed), `trim ${index}`),
    onChooseScene: view.chooseScene,
    onBorder,
    onGlide,
    onOpenChannel,
    onSettled: () => dispatch({ kind: 'settle' }),
  }
}

/** What no decision changes, and everything that follows from the mixer's gains: decided, shown and heard while he rides. */
function useNumbers(opened: OpenedTitle, decided: readonly MixerGain[], ride: HandRiding) {
  const numbers = useMemo(() => new TitleNumbers(opened), [opened])
  const still = useStill(numbers, opened)
  const { shownGains, heardGains } = ride
  const decidedDb = useMemo(() => numbers.points(decided), [numbers, decided])
  const trimmed = useMemo(() => {
    const points = shownGains === decided ? decidedDb : numbers.points(shownGains)
    return { points, now: numbers.under(points), after: points === null ? still.before : numbers.curves(points) }
  }, [numbers, decided, decidedDb, shownGains, still])
  const trimsDb = useMemo(
    () => (heardGains === decided ? decidedDb : numbers.points(heardGains)),
    [numbers, decided, decidedDb, heardGains],
  )
  return { still, ...trimmed, decidedDb, trimsDb }
}

/** What no decision changes, prepared once. */
function useStill(
  numbers: TitleNumbers,
  { head }: OpenedTitle,
): Pick<Scene, 'durationSeconds' | 'sampleRateHz' | 'before' | 'speech' | 'channels'> {
  return useMemo(() => {
    const roles = LAYOUTS[head.layout]
    return {
      durationSeconds: head.measurements.durationSeconds,
      sampleRateHz: head.ground.sampleRateHz,
      before: numbers.curves(null),
      speech: numbers.speech(),
      channels: roles.map((role, channel) => ({ role, powers: numbers.channelPowers(channel, roles.length) })),
    }
  }, [numbers, head])
}

/** The fit as the timeline draws it. */
function useFitLanes(
  head: OpenedTitle['head'],
  { plan, isOfThis }: ReturnType<typeof useTitleListening>['fit'],
): Pick<Scene, 'canBeFitted' | 'fit' | 'isFitOld'> {
  const fit = useMemo(() => fitCurvesOf(plan), [plan])
  return { canBeFitted: canBeFitted(head), fit, isFitOld: !isOfThis }
}

/** Waivers and a changed spec hold at once; the passages of another spec are none of this one. */
function withDecidedSpec(
  head: OpenedTitle['head'],
  sheet: ReturnType<typeof useTitle>['decisions']['sheet'],
  isOutdated: boolean,
) {
  const base = sheet.spec === null ? null : sheet.spec.id === null ? head.spec : findSpec(sheet.spec.id)
  const passages = isOutdated ? [] : head.passages
  if (base === null) return { ...head, passages, spec: null }
  return { ...head, passages, spec: specForTitle(base, sheet.title.name, sheet.spec?.override ?? {}, sheet.waivers) }
}

/** Has the title measured as its sheet now asks for. */
function useMeasuredAgain(
  { isOutdated, measuredBy, titleId }: ReturnType<typeof useTitle>,
  onOutdated: (titleId: string) => void,
): void {
  // biome-ignore lint/correctness/useExhaustiveDependencies: what is asked for may change once more.
  useEffect(() => {
    if (isOutdated) onOutdated(titleId)
  }, [isOutdated, measuredBy, titleId, onOutdated])
}

/** How far the measurement for what was decided is, or why it is not made. */
function MeasuredAgain({ title, works }: { readonly title: ReturnType<typeof useTitle>; readonly works: Works }) {
  const work = workOn(works, 'measure', title.titleId)
  if (work?.state === 'stopped' || work?.state === 'refused')
    return (
      <p className="refusal" role="alert">
        {work.refusal?.message ?? 'Not measured for this spec.'}{' '}
        <button type="button" onClick={() => void orderMeasurement(title.titleId)}>
          Measure it
        </button>
      </p>
    )
  return <WorkBar work={work} />
}

function isSamePlace(a: Passage, b: Passage | null): boolean {
  return b !== null && a.kind === b.kind && a.startFrame === b.startFrame && a.endFrame === b.endFrame
}

/** A step back may have taken the chosen scene away. */
function stillThere(choice: SceneChoice | null, count: number): SceneChoice | null {
  return typeof choice === 'number' && choice >= count ? null : choice
}

function step(passages: readonly Passage[], chosen: number | null, by: number, goTo: (passage: Passage) => void): void {
  const inTime = passages.toSorted((a, b) => a.startFrame - b.startFrame)
  const at = inTime.findIndex(({ rank }) => rank === chosen)
  const next = inTime[at < 0 ? (by > 0 ? 0 : inTime.length - 1) : at + by]
  if (next !== undefined) goTo(next)
}

function inWords(name: string, total: number | null, passages: number): string {
  return (
    `Timeline of ${name}: loudness ${total === null ? 'not measured' : `${total.toFixed(1)} LKFS`}, ${passages} passages. ` +
    'Arrow keys move, plus and minus zoom, shift with arrows selects, T trims what is selected, F finds the fit, N goes to the next passage.'
  )
}

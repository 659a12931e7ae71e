import { useEffect, useId, useRef, useState } from 'react'
import { type FrameRange, type Passage, type PlacedSheet, printFigure, type Sheet } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { withLock, withoutLock, withoutTrim, withTrimGain, withTrimGlide, withTrimReason, withWaiver } from './edits.ts'
import { handRidesOf, withoutRide } from './hand-ride.ts'
import { PassageActs } from './passage-acts.tsx'
import { Reading } from './reading.tsx'
import { SceneDrawer } from './scene-drawer.tsx'
import type { Scene } from './timeline/scene.ts'
import type { useScenes } from './use-scenes.ts'
import type { useTrimming } from './use-trimming.ts'
import { signed } from './words.ts'

export type DrawerProps = {
  readonly scene: Scene
  readonly head: TitleHead
  readonly sheet: Sheet
  readonly placed: PlacedSheet
  /** Why what was wanted is not so. */
  readonly problem: string | null
  readonly passage: Passage | null
  /** What a new trim or lock would be put on. */
  readonly range: FrameRange | null
  readonly waiving: string | null
  readonly sceneActs: Pick<ReturnType<typeof useScenes>, 'copied' | 'onCopy' | 'keys'>
  readonly onChange: (sheet: Sheet, moving?: string) => void
  readonly trimming: ReturnType<typeof useTrimming>
  readonly onNextPassage: () => void
  readonly onWaive: (line: string) => void
  readonly onSettled: () => void
  readonly onWaived: () => void
  readonly onClose: () => void
}

/** What can be done with what is chosen: a passage, a selection, a trim, a line that is missed. */
export function Drawer(props: DrawerProps) {
  const { scene, waiving, passage, range } = props
  const trim = scene.chosenTrim === null ? undefined : scene.trims[scene.chosenTrim]
  return (
    <section className="drawer" aria-label="What to do">
      <Reading scene={scene} />
      {props.problem !== null && (
        <p className="refusal" role="alert">
          {props.problem}
        </p>
      )}
      {waiving !== null ? (
        <Waiver {...props} line={waiving} />
      ) : trim !== undefined ? (
        <TrimSettings {...props} index={scene.chosenTrim as number} />
      ) : scene.chosenScene !== null ? (
        <SceneDrawer {...props} {...props.sceneActs} onJoin={props.sceneActs.keys.join} choice={scene.chosenScene} />
      ) : passage !== null ? (
        <PassageActs {...props} passage={passage} />
      ) : range !== null ? (
        <SelectionActs {...props} range={range} />
      ) : (
        <p className="slate">
          Choose a passage on the left, or drag over the timeline to select a stretch. <kbd>?</kbd> shows all keys.
        </p>
      )}
    </section>
  )
}

function SelectionActs({
  range,
  scene,
  sheet,
  head,
  placed,
  trimming,
  onChange,
  onClose,
}: DrawerProps & { readonly range: FrameRange }) {
  const locked = scene.locks.findIndex(
    ({ startFrame, endFrame }) => startFrame < range.endFrame && range.startFrame < endFrame,
  )
  const isRidden = handRidesOf(scene.gains).some(
    ({ startFrame, endFrame }) => startFrame < range.endFrame && range.startFrame < endFrame,
  )
  const lock = (toleranceDb: number) => onChange(withLock(sheet, head.ground, range, toleranceDb, placed))
  const seconds = (range.endFrame - range.startFrame) / scene.sampleRateHz
  return (
    <div className="acts">
      <p className="words">
        <b className="time">{scene.label(range.startFrame)}</b> to <b className="time">{scene.label(range.endFrame)}</b>
        , {printFigure(seconds)} s
      </p>
      <div className="buttons">
        <button type="button" className="primary" onClick={trimming.byHand}>
          Put a trim here
        </button>
        {locked >= 0 ? (
          <button type="button" onClick={() => onChange(withoutLock(sheet, locked))}>
            Unlock
          </button>
        ) : (
          <>
            <button type="button" onClick={() => lock(0)}>
              Lock: do not touch
            </button>
            <button type="button" onClick={() => lock(2)}>
              Limit to 2 dB
            </button>
          </>
        )}
        {isRidden && (
          <button type="button" onClick={() => onChange(withoutRide(sheet, head.ground, scene.gains, range))}>
            Take the hand ride away
          </button>
        )}
        <button type="button" className="plain" onClick={onClose}>
          Deselect
        </button>
      </div>
    </div>
  )
}

function TrimSettings({
  index,
  scene,
  sheet,
  placed,
  onChange,
  onSettled,
  onClose,
}: DrawerProps & { readonly index: number }) {
  const { gainDb, glideMs, reason, startFrame, endFrame } = scene.trims[index]!
  const [gain, glide, why] = [useId(), useId(), useId()]
  const slider = useRef<HTMLInputElement>(null)
  // The button that put the trim there is gone, and its focus with it.
  useEffect(() => {
    if (document.activeElement === document.body) slider.current!.focus()
  }, [])
  const setGain = (value: number) => onChange(withTrimGain(sheet, index, value, placed), `trim ${index}`)
  return (
    <div className="acts">
      <div className="words settings">
        <span>
          Trim, <b className="time">{scene.label(startFrame)}</b> to <b className="time">{scene.label(endFrame)}</b>
        </span>
        <label htmlFor={gain}>gain</label>
        <input
          ref={slider}
          id={gain}
          type="range"
          min={-24}
          max={12}
          step={0.1}
          value={gainDb}
          aria-valuetext={`${signed(gainDb)} dB`}
          onChange={(event) => setGain(Number(event.target.value))}
          onPointerUp={onSettled}
          onBlur={onSettled}
        />
        <output className="figure">
          {signed(gainDb)} <span className="slate">dB</span>
        </output>
        <label htmlFor={glide}>glide</label>
        <input
          id={glide}
          type="number"
          min={100}
          max={10000}
          step={100}
          value={glideMs}
          onChange={(event) =>
            onChange(withTrimGlide(sheet, index, bounded(Number(event.target.value))), `glide ${index}`)
          }
          onBlur={onSettled}
        />
        <span className="slate">ms</span>
        <label htmlFor={why}>reason</label>
        <input
          id={why}
          type="text"
          value={reason ?? ''}
          onChange={(event) => onChange(withTrimReason(sheet, index, event.target.value), `reason ${index}`)}
          onBlur={onSettled}
        />
      </div>
      <div className="buttons">
        <button
          type="button"
          onClick={() => {
            onChange(withoutTrim(sheet, index))
            onClose()
          }}
        >
          Take it away
        </button>
        <button type="button" className="plain" onClick={onClose}>
          Done
        </button>
      </div>
    </div>
  )
}

const SHORTEST_GLIDE_MS = 100
const LONGEST_GLIDE_MS = 10_000

function bounded(glideMs: number): number {
  return Math.min(LONGEST_GLIDE_MS, Math.max(SHORTEST_GLIDE_MS, Math.round(glideMs) || SHORTEST_GLIDE_MS))
}

/** A line is waived for one title and with a reason: both stand in the report. */
function Waiver({ line, sheet, onChange, onWaived }: DrawerProps & { readonly line: string }) {
  const [reason, setReason] = useState('')
  const field = useId()
  return (
    <form
      className="acts"
      onSubmit={(event) => {
        event.preventDefault()
        onChange(withWaiver(sheet, line, reason))
        onWaived()
      }}
    >
      <div className="words">
        <label htmlFor={field}>Why need this title not meet the line? The reason goes into the report.</label>
        {/* biome-ignore lint/a11y/noAutofocus: the form was asked for. */}
        <input id={field} type="text" value={reason} autoFocus onChange={(event) => setReason(event.target.value)} />
      </div>
      <div className="buttons">
        <button type="submit" className="primary" disabled={reason.trim() === ''}>
          Waive the line
        </button>
        <button type="button" className="plain" onClick={onWaived}>
          Do not
        </button>
      </div>
    </form>
  )
}

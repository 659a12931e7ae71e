import { LAYOUTS, type LayoutName, printFigure, type Role } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { busLayout, type Listening, mutedAfter, type Speakers } from '../listen/heard.ts'
import { loudestFrame } from './loudest.ts'
import { possibleLayouts } from './matching.ts'
import { heardOutputs, Meters } from './meters.tsx'
import { Monitor } from './monitor.tsx'
import type { Curves } from './numbers.ts'
import { RideFader } from './ride-fader.tsx'
import { TimeField } from './time-field.tsx'
import { canBeFitted, type useTitleListening } from './use-listening.ts'
import { WorkBar } from './work-bar.tsx'
import { type Works, workOn } from './works.ts'

type Props = {
  readonly head: TitleHead
  readonly listening: ReturnType<typeof useTitleListening>
  readonly works: Works
  readonly curves: Curves
}

/** Listening, once the caution was read. */
export function Transport(props: Props) {
  const { state, change } = props.listening
  return (
    <section className="transport" aria-label="Listening">
      {state.isCautionRead ? (
        <Strip {...props} />
      ) : (
        <>
          <button type="button" onClick={() => change({ isCautionRead: true })}>
            Listen
          </button>
          <span className="slate">
            Set your loudspeakers low first: raised signals can hurt ears and damage loudspeakers (85 dBA is safe for 8
            hours, half as long for every 3 dB more). Playing begins at a monitor gain of −30 dB and rises slowly.
          </span>
        </>
      )}
    </section>
  )
}

/** Playing: what, through what, how loud. */
function Strip({ head, listening, works, curves }: Props) {
  const { state, change, toggle, seek, fit, ride, titleId } = listening
  const { frameCount, sampleRateHz } = head.ground
  const layout = busLayout(possibleLayouts(head))
  const roles = LAYOUTS[layout]
  return (
    <>
      <button type="button" className="play" onClick={toggle} aria-keyshortcuts="Space">
        {state.isPlaying ? 'Pause' : 'Play'}
      </button>
      <TimeField
        ground={head.ground}
        frame={state.frame}
        isTyping={state.isTyping}
        onTyping={(isTyping) => change({ isTyping })}
        onGo={seek}
      />
      {Math.abs(state.speed) > 1 || state.speed < 0 ? (
        <span className="slate">{printFigure(state.speed, 0)}×</span>
      ) : null}
      <button
        type="button"
        className="plain"
        aria-keyshortcuts="M"
        onClick={() => seek(loudestFrame(curves, frameCount, sampleRateHz))}
      >
        Loudest
      </button>
      <Choice
        name="Listen to"
        options={listeningsOf(head)}
        chosen={state.listening}
        onChoose={(one) => change({ listening: one })}
      />
      <Choice
        name="Loudspeakers"
        options={speakersOf(layout)}
        chosen={state.speakers}
        onChoose={(one) => change({ speakers: one })}
      />
      <Channels roles={roles} muted={state.muted} onMuted={(muted) => change({ muted })} />
      <label className="toggle">
        <input type="checkbox" checked={state.loops} onChange={(event) => change({ loops: event.target.checked })} />{' '}
        loop
      </label>
      <label className="toggle" title="Brings all that can be compared down to the softest of it, where you listen">
        <input
          type="checkbox"
          checked={state.isMatched}
          onChange={(event) => change({ isMatched: event.target.checked, loudness: new Map() })}
        />{' '}
        match levels
      </label>
      <RideFader
        isRiding={ride.isRiding}
        isPlaying={state.isPlaying}
        gainDb={ride.faderDb ?? ride.riddenAt(state.frame)}
        note={ride.note}
        onRide={listening.keys.ride}
        onMove={listening.moveFader}
      />
      <span className="room" />
      {fit.isStale && <WorkBar work={workOn(works, 'plan', titleId)} />}
      {state.outputs !== null && state.outputs < roles.length && state.speakers === 'own' && (
        <span className="slate" title={`This device has ${state.outputs} outputs.`}>
          heard as Lo/Ro
        </span>
      )}
      {(state.problem ?? fit.problem) !== null && (
        <span className="refusal" role="alert">
          {state.problem ?? fit.problem}
        </span>
      )}
      <Monitor head={head} listening={listening} />
      <Meters
        reading={state.meters}
        spec={head.spec}
        outputs={heardOutputs(layout, state.speakers, state.outputs ?? 2)}
      />
    </>
  )
}

function listeningsOf(head: TitleHead): readonly (readonly [Listening, string])[] {
  return [
    ['source', 'Source'],
    ['trimmed', 'With trims'],
    ...(head.layout === '2.0' ? ([['upmix', 'Upmix']] as const) : []),
    ...(canBeFitted(head) ? ([['fitted', 'Fitted']] as const) : []),
    ['difference', 'Taken away'],
  ]
}

function speakersOf(layout: LayoutName): readonly (readonly [Speakers, string])[] {
  const hasFoldDowns = LAYOUTS[layout].length > 2
  return [
    ['own', layout],
    ...(hasFoldDowns
      ? ([
          ['lo-ro', 'Lo/Ro'],
          ['lt-rt', 'Lt/Rt'],
        ] as const)
      : []),
    ['mono', 'Mono'],
    ['small', 'Small'],
  ]
}

/** One of a few, as buttons in a row. */
function Choice<T extends string>({
  name,
  options,
  chosen,
  onChoose,
}: {
  readonly name: string
  readonly options: readonly (readonly [T, string])[]
  readonly chosen: T
  readonly onChoose: (option: T) => void
}) {
  return (
    <fieldset className="choice">
      <legend className="unseen">{name}</legend>
      {options.map(([option, words]) => (
        <button key={option} type="button" aria-pressed={option === chosen} onClick={() => onChoose(option)}>
          {words}
        </button>
      ))}
    </fieldset>
  )
}

/** Each channel can be muted; with Alt it is heard alone. */
function Channels({
  roles,
  muted,
  onMuted,
}: {
  readonly roles: readonly Role[]
  readonly muted: ReadonlySet<Role>
  readonly onMuted: (muted: ReadonlySet<Role>) => void
}) {
  return (
    <fieldset className="choice">
      <legend className="unseen">Channels that are heard</legend>
      {roles.map((role, place) => (
        <button
          key={role}
          type="button"
          aria-pressed={!muted.has(role)}
          aria-keyshortcuts={`${place + 1}`}
          title={`Mute ${role}; with Alt, or by the key ${place + 1}, hear it alone`}
          onClick={(event) => onMuted(mutedAfter(muted, roles, role, event.altKey))}
        >
          {role}
        </button>
      ))}
    </fieldset>
  )
}

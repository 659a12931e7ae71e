import { useId, useState } from 'react'
import { LAYOUTS, type Role } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import type { Listening, Speakers } from '../listen/heard.ts'
import type { useListening } from './use-listening.ts'
import { signed } from './words.ts'

const LISTENINGS: readonly (readonly [Listening, string])[] = [
  ['source', 'Source'],
  ['trimmed', 'With trims'],
  ['difference', 'Taken away'],
]
const LOWEST_MONITOR_DB = -60

type Props = {
  readonly head: TitleHead
  readonly listening: ReturnType<typeof useListening>
  readonly label: (frame: number) => string
}

/** Listening, once the caution was read. */
export function Transport(props: Props) {
  const [isWarned, setWarned] = useState(false)
  return (
    <section className="transport" aria-label="Listening">
      {props.head.sound === null ? (
        <span className="slate">A FLAC cannot be listened to here yet; as WAV it can.</span>
      ) : isWarned ? (
        <Strip {...props} />
      ) : (
        <>
          <button type="button" onClick={() => setWarned(true)}>
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
function Strip({ head, listening, label }: Props) {
  const { state, change, toggle } = listening
  const monitor = useId()
  const roles = LAYOUTS[head.layout]
  const speakers: readonly (readonly [Speakers, string])[] = [
    ['own', head.layout],
    ...(roles.length > 2 ? ([['lo-ro', 'Lo/Ro']] as const) : []),
    ['mono', 'Mono'],
  ]
  return (
    <>
      <button type="button" className="play" onClick={() => void toggle()} aria-keyshortcuts="Space">
        {state.isPlaying ? 'Pause' : 'Play'}
      </button>
      <b className="time">{label(Math.min(state.frame, head.ground.frameCount))}</b>
      <Choice
        name="Listen to"
        options={LISTENINGS}
        chosen={state.listening}
        onChoose={(one) => change({ listening: one })}
      />
      <Choice
        name="Loudspeakers"
        options={speakers}
        chosen={state.speakers}
        onChoose={(one) => change({ speakers: one })}
      />
      <Channels roles={roles} muted={state.muted} onMuted={(muted) => change({ muted })} />
      <label className="toggle">
        <input type="checkbox" checked={state.loops} onChange={(event) => change({ loops: event.target.checked })} />{' '}
        loop
      </label>
      <span className="room" />
      {state.outputs !== null && state.outputs < roles.length && state.speakers === 'own' && (
        <span className="slate" title={`This device has ${state.outputs} outputs.`}>
          heard as Lo/Ro
        </span>
      )}
      {state.problem !== null && (
        <span className="refusal" role="alert">
          {state.problem}
        </span>
      )}
      <label className="toggle">
        <input
          type="checkbox"
          checked={state.isDimmed}
          onChange={(event) => change({ isDimmed: event.target.checked })}
        />{' '}
        dim
      </label>
      <label htmlFor={monitor}>monitor</label>
      <input
        id={monitor}
        type="range"
        min={LOWEST_MONITOR_DB}
        max={0}
        step={1}
        value={state.monitorDb}
        aria-valuetext={`${signed(state.monitorDb, 0)} dB`}
        onChange={(event) => change({ monitorDb: Number(event.target.value) })}
      />
      <output className="figure">{signed(state.monitorDb, 0)} dB</output>
    </>
  )
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
  const press = (role: Role, isAlone: boolean) => {
    const others = roles.filter((one) => one !== role)
    const isAloneAlready = !muted.has(role) && others.every((one) => muted.has(one))
    if (isAlone) return onMuted(new Set(isAloneAlready ? [] : others))
    return onMuted(new Set(muted.has(role) ? [...muted].filter((one) => one !== role) : [...muted, role]))
  }
  return (
    <fieldset className="choice">
      <legend className="unseen">Channels that are heard</legend>
      {roles.map((role) => (
        <button
          key={role}
          type="button"
          aria-pressed={!muted.has(role)}
          title={`Mute ${role}; with Alt, hear it alone`}
          onClick={(event) => press(role, event.altKey)}
        >
          {role}
        </button>
      ))}
    </fieldset>
  )
}

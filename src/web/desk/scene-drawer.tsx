import { useId } from 'react'
import {
  findUpmixStart,
  LONGEST_UPMIX_GLIDE_MS,
  type Parameter,
  type ParameterTable,
  SHORTEST_UPMIX_GLIDE_MS,
  type Sheet,
  sceneSettings,
  UPMIX_PARAMETERS,
  UPMIX_STARTS,
  upmixSettingsOf,
} from '../../domain/index.ts'
import { NumberField, ParameterRows } from './parameter-rows.tsx'
import {
  type SceneChoice,
  type Side,
  withGlide,
  withoutScene,
  withSceneName,
  withSetting,
  withSettings,
  withStart,
} from './scene-edits.ts'
import type { Scene } from './timeline/scene.ts'

type Props = {
  readonly choice: SceneChoice
  readonly scene: Scene
  readonly sheet: Sheet
  readonly copied: Sheet['upmix']['settings'] | null
  readonly onCopy: (settings: Sheet['upmix']['settings']) => void
  readonly onJoin: () => void
  readonly onChange: (sheet: Sheet, moving?: string) => void
  readonly onSettled: () => void
  readonly onClose: () => void
}

const SCENE_PARAMETERS: ParameterTable = Object.fromEntries(
  Object.entries<Parameter>(UPMIX_PARAMETERS).filter(([, { glide }]) => glide !== 'fixed'),
)

/** The upmix of one scene, or of the whole title: from what it starts, and every setting. */
export function SceneDrawer(props: Props) {
  const { choice, sheet, onChange, onSettled } = props
  const isTitle = choice === 'title'
  const entry = isTitle ? null : sheet.upmix.scenes[choice]!
  const own = entry?.settings ?? sheet.upmix.settings
  const ofTitle = upmixSettingsOf(sheet)
  return (
    <>
      <SceneHead {...props} own={own} />
      {entry?.reason != null && <p className="slate small">{entry.reason}</p>}
      <ParameterRows
        table={isTitle ? UPMIX_PARAMETERS : SCENE_PARAMETERS}
        values={{ ...ofTitle, ...own }}
        own={own}
        elsewhere={isTitle ? 'as it starts' : 'as the title'}
        onSet={(name, value) => onChange(withSetting(sheet, choice, name, value), `scene ${choice} ${name}`)}
        onSettled={onSettled}
      />
    </>
  )
}

function SceneHead({
  choice,
  scene,
  sheet,
  copied,
  own,
  onCopy,
  onJoin,
  onChange,
  onSettled,
  onClose,
}: Props & { readonly own: Sheet['upmix']['settings'] }) {
  const name = useId()
  const placed = choice === 'title' ? undefined : scene.scenes[choice]
  const entry = choice === 'title' ? null : sheet.upmix.scenes[choice]!
  return (
    <div className="acts">
      <div className="words settings">
        {entry === null ? (
          <b>The whole title</b>
        ) : (
          <>
            <label htmlFor={name}>Scene</label>
            <input
              id={name}
              type="text"
              value={entry.name ?? ''}
              placeholder="without a name"
              onChange={(event) =>
                onChange(withSceneName(sheet, choice as number, event.target.value), `scene ${choice} name`)
              }
              onBlur={onSettled}
            />
            {placed !== undefined && (
              <span>
                <b className="time">{scene.label(placed.startFrame)}</b> to{' '}
                <b className="time">{scene.label(placed.endFrame)}</b>
              </span>
            )}
            <Glide side="in" choice={choice as number} sheet={sheet} onChange={onChange} />
            <Glide side="out" choice={choice as number} sheet={sheet} onChange={onChange} />
          </>
        )}
        <Start choice={choice} sheet={sheet} onChange={onChange} />
      </div>
      <div className="buttons">
        <button type="button" onClick={() => onCopy(own)} aria-keyshortcuts="C">
          Copy settings
        </button>
        <button
          type="button"
          disabled={copied === null}
          aria-keyshortcuts="V"
          onClick={() => copied !== null && onChange(withSettings(sheet, choice, () => copied))}
        >
          Paste settings
        </button>
        {entry !== null && (
          <>
            <button
              type="button"
              disabled={choice === sheet.upmix.scenes.length - 1}
              onClick={onJoin}
              aria-keyshortcuts="Shift+S"
            >
              Join with the next
            </button>
            <button
              type="button"
              onClick={() => {
                onChange(withoutScene(sheet, choice as number))
                onClose()
              }}
            >
              Take it away
            </button>
          </>
        )}
        <button type="button" className="plain" onClick={onClose}>
          Done
        </button>
      </div>
    </div>
  )
}

/** How long the change at one border takes. */
function Glide({
  side,
  choice,
  sheet,
  onChange,
}: Pick<Props, 'sheet' | 'onChange'> & { readonly side: Side; readonly choice: number }) {
  const { glideInMs, glideOutMs } = sheet.upmix.scenes[choice]!
  const words = side === 'in' ? 'glide in' : 'glide out'
  return (
    <span className="glide">
      {words}{' '}
      <NumberField
        label={`${words}, ms`}
        value={side === 'in' ? glideInMs : glideOutMs}
        min={SHORTEST_UPMIX_GLIDE_MS}
        max={LONGEST_UPMIX_GLIDE_MS}
        onSet={(ms) => onChange(withGlide(sheet, choice, side, ms))}
      />{' '}
      <span className="slate">ms</span>
    </span>
  )
}

/** Settings to start from: the title names them, a scene takes their values. */
function Start({ choice, sheet, onChange }: Pick<Props, 'choice' | 'sheet' | 'onChange'>) {
  const isTitle = choice === 'title'
  const take = (id: string) => {
    if (isTitle) return onChange(withStart(sheet, id === '' ? null : id))
    const settings = sceneSettings(findUpmixStart(id)?.settings ?? {})
    return onChange(withSettings(sheet, choice, () => settings))
  }
  return (
    <label>
      {isTitle ? 'starts from ' : 'take over '}
      <select value={isTitle ? (sheet.upmix.start ?? '') : ''} onChange={(event) => take(event.target.value)}>
        <option value="">{isTitle ? 'the defaults' : 'settings of …'}</option>
        {UPMIX_STARTS.map(({ id, title, reason }) => (
          <option key={id} value={id} title={reason}>
            {title}
          </option>
        ))}
      </select>
    </label>
  )
}

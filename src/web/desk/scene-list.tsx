import type { PlacedScene } from '../../domain/index.ts'
import type { WorkMessage } from '../../protocol/index.ts'
import type { SceneChoice } from './scene-edits.ts'
import type { Scene } from './timeline/scene.ts'
import type { useScenes } from './use-scenes.ts'
import { WorkBar } from './work-bar.tsx'

/** Scenes of the upmix, and the title that lies under them. */
export function SceneList({
  scene: { scenes, chosenScene: chosen, label },
  acts,
  work,
  onChoose,
}: {
  readonly scene: Scene
  readonly acts: Pick<ReturnType<typeof useScenes>, 'keys' | 'suggest'>
  /** The search for scenes, while it goes on. */
  readonly work: WorkMessage | null
  readonly onChoose: (choice: SceneChoice) => void
}) {
  const isSearching = work?.state === 'running' || work?.state === 'waiting'
  return (
    <section aria-labelledby="scenes" className="scenes">
      <h2 id="scenes">Scenes of the upmix {scenes.length > 0 && <span className="slate">{scenes.length}</span>}</h2>
      <ol>
        <li>
          <button
            type="button"
            className={chosen === 'title' ? 'passage chosen' : 'passage'}
            aria-current={chosen === 'title'}
            onClick={() => onChoose('title')}
          >
            <span className="rank" />
            <span>whole title</span>
            <span className="slate">
              {scenes.length === 0 ? 'one upmix throughout' : 'where no scene says otherwise'}
            </span>
          </button>
        </li>
        {scenes.map((scene, index) => (
          <li key={scene.startFrame}>
            <button
              type="button"
              className={chosen === index ? 'passage chosen' : 'passage'}
              aria-current={chosen === index}
              onClick={() => onChoose(index)}
            >
              <span className="rank">{index + 1}</span>
              <span className="time">{label(scene.startFrame)}</span>
              <span>{sceneWords(scene)}</span>
            </button>
          </li>
        ))}
      </ol>
      <div className="buttons">
        <button type="button" onClick={acts.keys.split} aria-keyshortcuts="S">
          Split at the cursor
        </button>
        {!isSearching && (
          <button type="button" onClick={() => void acts.suggest()}>
            Suggest scenes
          </button>
        )}
      </div>
      <WorkBar work={work} />
      {work?.refusal != null && (
        <p className="refusal" role="alert">
          {work.refusal.message}
        </p>
      )}
    </section>
  )
}

/** A scene by its name, or by what it sets. */
export function sceneWords({ name, settings }: Pick<PlacedScene, 'name' | 'settings'>): string {
  const count = Object.keys(settings).length
  return name ?? (count === 0 ? 'sets nothing yet' : `${count} setting${count === 1 ? '' : 's'}`)
}

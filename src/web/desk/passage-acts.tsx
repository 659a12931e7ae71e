import { type FrameRange, type Passage, WAIVABLE_LINES } from '../../domain/index.ts'
import type { DrawerProps } from './drawer.tsx'
import { withoutTrim } from './edits.ts'
import { PassageWords } from './passage-list.tsx'
import { signed } from './words.ts'

/** What can be done about a passage: trim it as suggested or by hand, waive its line, leave it. */
export function PassageActs(props: DrawerProps & { readonly passage: Passage }) {
  const { passage, scene, placed, trimming, onNextPassage, onClose } = props
  const { suggestedTrimDb } = passage
  const trimmed = trimOf(scene.trims, passage)
  const isLocked = placed.locks.some((lock) => overlap(lock, passage) > 0)
  return (
    <div className="acts">
      <div className="words">
        <PassageWords passage={passage} />
        {isLocked && <p className="slate small">A lock lies over it: a trim keeps to what that allows.</p>}
      </div>
      <div className="buttons">
        {trimmed !== null ? (
          <Trimmed {...props} index={trimmed} />
        ) : (
          <>
            {suggestedTrimDb !== null && (
              <button type="button" className="primary" onClick={trimming.asSuggested}>
                Trim by {signed(suggestedTrimDb)} dB
              </button>
            )}
            <button type="button" onClick={trimming.byHand}>
              Trim by hand
            </button>
            <Waive {...props} />
          </>
        )}
        {scene.passages.length > 1 && (
          <button type="button" className="plain" aria-keyshortcuts="N" onClick={onNextPassage}>
            Next passage
          </button>
        )}
        <button type="button" className="plain" onClick={onClose}>
          {trimmed === null ? 'Leave it' : 'Done'}
        </button>
      </div>
    </div>
  )
}

function Trimmed({ scene, sheet, index, trimming, onChange }: DrawerProps & { readonly index: number }) {
  return (
    <>
      <span className="done">Trimmed by {signed(scene.trims[index]!.gainDb)} dB</span>
      <button type="button" onClick={() => trimming.adjust(index)}>
        Adjust
      </button>
      <button type="button" onClick={() => onChange(withoutTrim(sheet, index))}>
        Take it away
      </button>
    </>
  )
}

function Waive({ passage: { line, kind }, scene, onWaive }: DrawerProps & { readonly passage: Passage }) {
  const isWaivable = (WAIVABLE_LINES as readonly string[]).includes(line) && kind !== 'thinnest-margin'
  const isWaived = scene.spec?.waivers?.some((waiver) => waiver.line === line) ?? false
  if (!isWaivable || isWaived) return null
  return (
    <button type="button" onClick={() => onWaive(line)}>
      Waive …
    </button>
  )
}

/** The trim that covers most of a passage, by its place in the sheet; null where none does. */
function trimOf(trims: readonly FrameRange[], passage: FrameRange): number | null {
  const shared = trims.map((trim) => overlap(trim, passage))
  const most = Math.max(0, ...shared)
  return most === 0 ? null : shared.indexOf(most)
}

function overlap(a: FrameRange, b: FrameRange): number {
  return Math.min(a.endFrame, b.endFrame) - Math.max(a.startFrame, b.startFrame)
}

import { useEffect, useRef, useState } from 'react'
import type { Measurements } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { sheetJson } from '../../protocol/index.ts'
import { SPECS } from '../../specs/index.ts'
import { Box } from './box.tsx'
import { DeliverBox } from './deliver-box.tsx'
import { withSpec } from './edits.ts'
import { Mark } from './mark.tsx'
import { KEY_MAP } from './use-keys.ts'
import type { useTitle } from './use-title.ts'
import type { Works } from './works.ts'

const SAVED = { saved: 'saved', saving: 'saving …', 'not-saved': 'not saved' } as const

/** The title's name, its spec, whether it is saved, and what can be done with all of it. */
export function TitleHeader({
  head,
  title,
  works,
  now,
}: {
  readonly head: TitleHead
  readonly title: ReturnType<typeof useTitle>
  readonly works: Works
  readonly now: Measurements
}) {
  const { decisions, dispatch, change, saving } = title
  const { sheet, past, future } = decisions
  const [shown, setShown] = useState<'deliver' | 'sheet' | 'keys' | null>(null)
  useQuestionMark(() => setShown('keys'))
  return (
    <header className="head">
      <a href="#shelf" aria-label="Back to the shelf">
        <Mark />
      </a>
      <nav aria-label="Where you are">
        <a href="#shelf">Shelf</a> <span className="slate">/</span> <h1>{sheet.title.name}</h1>
      </nav>
      <label>
        <span className="slate">for </span>
        <select
          value={sheet.spec?.id ?? head.spec?.id ?? ''}
          onChange={(event) => change(withSpec(sheet, event.target.value))}
          aria-label="Delivery spec"
        >
          {sheet.spec?.id == null && <option value="">{head.spec?.title ?? 'no spec named'}</option>}
          {SPECS.map(({ id, title: name }) => (
            <option key={id} value={id}>
              {name}
            </option>
          ))}
        </select>
      </label>
      <span className="room" />
      <span
        className={saving.state === 'not-saved' ? 'refusal' : 'slate'}
        role="status"
        title={saving.problem ?? head.sheetPath}
      >
        {SAVED[saving.state]}
        {saving.problem !== null && `: ${saving.problem}`}
      </span>
      <button type="button" className="plain" disabled={past.length === 0} onClick={() => dispatch({ kind: 'undo' })}>
        Undo
      </button>
      <button type="button" className="plain" disabled={future.length === 0} onClick={() => dispatch({ kind: 'redo' })}>
        Redo
      </button>
      <button type="button" className="plain" onClick={() => setShown('sheet')}>
        Sheet
      </button>
      <button type="button" className="plain" onClick={() => setShown('keys')} aria-label="Keys">
        ?
      </button>
      <button type="button" className="primary" disabled={head.spec === null} onClick={() => setShown('deliver')}>
        Deliver
      </button>
      {shown === 'deliver' && (
        <DeliverBox head={head} title={title} works={works} now={now} onClose={() => setShown(null)} />
      )}
      {shown === 'sheet' && (
        <Box title="The sheet" onClose={() => setShown(null)}>
          <p className="slate">
            It lies in <code>{head.sheetPath}</code> once something is decided. On the command line the same delivery
            is:
          </p>
          <pre>{`plimsoll deliver ${quoted(head.sheetPath)} --out ${quoted(sheet.title.id)}`}</pre>
          <pre className="sheet">{sheetJson(sheet)}</pre>
        </Box>
      )}
      {shown === 'keys' && (
        <Box title="Keys" onClose={() => setShown(null)}>
          <table className="keys">
            <tbody>
              {KEY_MAP.map(({ keys, does }) => (
                <tr key={keys}>
                  <th scope="row" className="key">
                    <kbd>{keys}</kbd>
                  </th>
                  <td>{does}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </Box>
      )}
    </header>
  )
}

function useQuestionMark(show: () => void): void {
  const latest = useRef(show)
  latest.current = show
  useEffect(() => {
    const pressed = (event: KeyboardEvent) => {
      const isTyping = event.target instanceof HTMLInputElement && event.target.type !== 'range'
      if (event.key === '?' && !isTyping) latest.current()
    }
    window.addEventListener('keydown', pressed)
    return () => window.removeEventListener('keydown', pressed)
  }, [])
}

function quoted(path: string): string {
  return /^[\w./-]+$/.test(path) ? path : `'${path.replaceAll("'", "'\\''")}'`
}

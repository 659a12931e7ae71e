import { useEffect, useRef, useState } from 'react'
import { isInside, type Measurements, specLines } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { sheetJson } from '../../protocol/index.ts'
import { SPECS } from '../../specs/index.ts'
import { Box } from './box.tsx'
import { orderDelivery, reportAddress, reportPaperAddress } from './calls.ts'
import { withSpec } from './edits.ts'
import { Mark } from './mark.tsx'
import { KEY_MAP } from './use-keys.ts'
import type { useTitle } from './use-title.ts'
import { WorkBar } from './work-bar.tsx'
import { type Works, workOn } from './works.ts'

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
        <Delivery head={head} title={title} works={works} now={now} onClose={() => setShown(null)} />
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

/** The delivery: what will be made, how far it is, and what became of it. */
function Delivery({
  head,
  title,
  works,
  now,
  onClose,
}: {
  readonly head: TitleHead
  readonly title: ReturnType<typeof useTitle>
  readonly works: Works
  readonly now: Measurements
  readonly onClose: () => void
}) {
  const [isOrdered, setOrdered] = useState(false)
  const [keeps, setKeeps] = useState(false)
  const { titleId, decisions, saveNow } = title
  const work = isOrdered ? workOn(works, 'deliver', titleId) : null
  const isWorking = isOrdered && (work === null || work.state === 'running' || work.state === 'waiting')
  const missed =
    head.spec === null
      ? []
      : specLines(now, head.spec, head.role).filter((line) => line.measured === null || !isInside(line, line.measured))
  const start = async () => {
    await saveNow(decisions.sheet)
    await orderDelivery(title.titleId, keeps)
    setOrdered(true)
  }
  return (
    <Box title={`Deliver ${decisions.sheet.title.name}`} onClose={onClose}>
      {head.layout === 'mono' ? (
        <p>
          A mono source is not delivered by itself: upmix it or fit it with the command line, and put the result here.
        </p>
      ) : (
        <p>
          {head.layout === '2.0'
            ? 'The two-track becomes a 5.1, and both are fitted'
            : 'The mix is fitted and folded down'}{' '}
          to <b>{head.spec?.title}</b>, measured on the bytes that were written, and delivered with a report.
        </p>
      )}
      <p className="slate">
        {missed.length === 0
          ? 'Every line is met as it stands.'
          : `The fit will move the mix to meet: ${missed.map(({ name }) => name).join(', ')}.`}{' '}
        The recipient’s written spec decides; check it before you send.
      </p>
      {!isWorking && work?.outcome == null && head.layout !== 'mono' && (
        <>
          <label>
            <input type="checkbox" checked={keeps} onChange={(event) => setKeeps(event.target.checked)} /> Keep the
            files even if they do not conform, named so
          </label>
          <p>
            <button type="button" className="primary" onClick={() => void start()}>
              Deliver
            </button>
          </p>
        </>
      )}
      {isWorking && <WorkBar work={work} />}
      {work?.state === 'stopped' && <p role="status">Stopped. Nothing half-written was left behind.</p>}
      {work?.refusal != null && (
        <p className="refusal" role="alert">
          {work.refusal.message}
        </p>
      )}
      {work?.outcome != null && (
        <div role="status">
          <p className={work.outcome.conforms ? 'met' : 'refusal'}>{work.outcome.verdict}</p>
          <p>
            <a href={reportAddress(titleId)} target="_blank" rel="noreferrer">
              Open the report
            </a>
            {work.outcome.isDelivered && (
              <>
                {' or '}
                <a href={reportPaperAddress(titleId)} download>
                  keep it as a PDF
                </a>
              </>
            )}
          </p>
        </div>
      )}
    </Box>
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

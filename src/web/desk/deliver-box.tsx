import { useEffect, useState } from 'react'
import { isInside, type Measurements, specLines } from '../../domain/index.ts'
import type { ShelfEntry, TitleHead, WorkMessage } from '../../protocol/index.ts'
import { Box } from './box.tsx'
import { fetchShelf, orderDelivery, reportAddress, reportPaperAddress, showDelivery } from './calls.ts'
import type { useTitle } from './use-title.ts'
import { WorkBar } from './work-bar.tsx'
import { type Works, workOn } from './works.ts'

/** The delivery: what will be made, how far it is, and what became of it; and what was delivered before. */
export function DeliverBox({
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
  /** What was last told of a delivery when this one was ordered; undefined: none was. */
  const [toldBefore, setToldBefore] = useState<WorkMessage | null | undefined>(undefined)
  const [keeps, setKeeps] = useState(false)
  const [problem, setProblem] = useState<string | null>(null)
  const { titleId, decisions, saveNow } = title
  const told = workOn(works, 'deliver', titleId)
  const isGoingOn = told?.state === 'running' || told?.state === 'waiting'
  const isOrdered = toldBefore !== undefined
  // What became of an earlier delivery is no answer to this order.
  const work = isGoingOn || (isOrdered && told !== toldBefore) ? told : null
  const isWorking = isGoingOn || (isOrdered && work === null)
  const before = useDelivered(titleId, work?.outcome ?? null)
  const start = async () => {
    setToldBefore(told)
    setProblem(null)
    await saveNow(decisions.sheet)
    await orderDelivery(title.titleId, keeps).catch((error: Error) => {
      setToldBefore(undefined)
      setProblem(error.message)
    })
  }
  const canStart = !isWorking && work?.outcome == null && head.layout !== 'mono'
  return (
    <Box title={`Deliver ${decisions.sheet.title.name}`} onClose={onClose}>
      {work?.outcome == null && <What head={head} now={now} />}
      {canStart && (
        <>
          <p>
            <label>
              <input type="checkbox" checked={keeps} onChange={(event) => setKeeps(event.target.checked)} /> Keep the
              files even if they do not conform, named so
            </label>
          </p>
          <p>
            <button type="button" className="primary" onClick={() => void start()}>
              Deliver
            </button>
          </p>
        </>
      )}
      {isWorking && <WorkBar work={work} />}
      {work?.state === 'stopped' && <p role="status">Stopped. Nothing half-written was left behind.</p>}
      {(problem ?? work?.refusal?.message) != null && (
        <p className="refusal" role="alert">
          {problem ?? work?.refusal?.message}
        </p>
      )}
      {work?.outcome != null ? (
        <Outcome titleId={titleId} outcome={work.outcome} folder={before?.folder ?? null} />
      ) : (
        before !== null && !isWorking && <Before titleId={titleId} delivery={before} />
      )}
    </Box>
  )
}

/** What will be made, and what the fit has to move for it. */
function What({ head, now }: { readonly head: TitleHead; readonly now: Measurements }) {
  const { spec, layout, role } = head
  if (layout === 'mono')
    return (
      <p>
        A mono source is not delivered by itself: upmix it or fit it with the command line, and put the result here.
      </p>
    )
  const missed =
    spec === null
      ? []
      : specLines(now, spec, role).filter((line) => line.measured === null || !isInside(line, line.measured))
  const waived = spec?.waivers ?? []
  return (
    <>
      <p>
        {layout === '2.0' ? 'The two-track becomes a 5.1, and both are fitted' : 'The mix is fitted and folded down'} to{' '}
        <b>{spec?.title}</b>, measured on the bytes that were written, and delivered with a report.
      </p>
      <p className="slate">
        {missed.length === 0
          ? 'Every line is met as it stands.'
          : `The fit will move the mix to meet: ${missed.map(({ name }) => name).join(', ')}.`}{' '}
        {waived.length > 0 && `Waived, with the reason in the report: ${waived.length}. `}
        The recipient’s written spec decides; check it before you send.
      </p>
    </>
  )
}

/** What became of it: the verdict, where the files lie, the report. */
function Outcome({
  titleId,
  outcome,
  folder,
}: {
  readonly titleId: string
  readonly outcome: NonNullable<WorkMessage['outcome']>
  readonly folder: string | null
}) {
  const { conforms, isDelivered, verdict } = outcome
  return (
    <div role="status">
      <p className={conforms ? 'conforming' : 'refusal'}>{verdict}</p>
      {!isDelivered && (
        <p>Nothing was delivered. The report says where it fails; mend it there, or keep the files all the same.</p>
      )}
      <Reports titleId={titleId} hasPaper={isDelivered} />
      {isDelivered && folder !== null && <Files titleId={titleId} folder={folder} />}
    </div>
  )
}

/** What lies there from an earlier delivery. */
function Before({
  titleId,
  delivery,
}: {
  readonly titleId: string
  readonly delivery: NonNullable<ShelfEntry['delivery']>
}) {
  return (
    <section className="before" aria-label="Delivered before">
      <p>
        Delivered before{delivery.conforms === false && ', not conforming'}; a new delivery takes its place once it is
        whole.
      </p>
      <Reports titleId={titleId} hasPaper />
      <Files titleId={titleId} folder={delivery.folder} />
    </section>
  )
}

function Reports({ titleId, hasPaper }: { readonly titleId: string; readonly hasPaper: boolean }) {
  return (
    <p>
      <a href={reportAddress(titleId)} target="_blank" rel="noreferrer">
        Open the report
      </a>
      {hasPaper && (
        <>
          {' or '}
          <a href={reportPaperAddress(titleId)} download>
            keep it as a PDF
          </a>
        </>
      )}
    </p>
  )
}

/** Where the files lie, and the way there. */
function Files({ titleId, folder }: { readonly titleId: string; readonly folder: string }) {
  const [note, setNote] = useState<string | null>(null)
  const show = () =>
    showDelivery(titleId).then(
      (isShown) => setNote(isShown ? null : 'This machine has nothing to show a folder with: go there by its path.'),
      (error: Error) => setNote(error.message),
    )
  return (
    <>
      <p className="files">
        <span>
          Files in <code>{folder}</code>
        </span>
        <button type="button" onClick={() => void show()}>
          Open the folder
        </button>
      </p>
      {note !== null && (
        <p className="slate" role="status">
          {note}
        </p>
      )}
    </>
  )
}

/** The delivery that lies there; looked at again when one ends. */
function useDelivered(titleId: string, outcome: WorkMessage['outcome']): ShelfEntry['delivery'] {
  const [delivery, setDelivery] = useState<ShelfEntry['delivery']>(null)
  // biome-ignore lint/correctness/useExhaustiveDependencies: the end of a delivery is why it is looked at again.
  useEffect(() => {
    let isHere = true
    fetchShelf().then(
      ({ titles }) => isHere && setDelivery(titles.find(({ id }) => id === titleId)?.delivery ?? null),
      () => {},
    )
    return () => {
      isHere = false
    }
  }, [titleId, outcome])
  return delivery
}

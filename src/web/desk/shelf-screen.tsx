import { useEffect, useMemo, useState } from 'react'
import { printFigure, printTime } from '../../domain/index.ts'
import type { Shelf, ShelfEntry, TitleState } from '../../protocol/index.ts'
import { AddTitles, SendingList, useDropping, useSending } from './add-titles.tsx'
import { fetchShelf, orderMeasurement } from './calls.ts'
import { Mark } from './mark.tsx'
import { signed } from './words.ts'
import { WorkBar } from './work-bar.tsx'
import { titleAddress, type Works, workOn } from './works.ts'

const STATES: Readonly<Record<TitleState, string>> = {
  new: 'new, not measured',
  working: 'being worked on',
  conforms: 'conforms',
  'needs-ears': 'needs ears',
  'does-not-conform': 'does not conform',
  'no-spec': 'no spec named',
  refused: 'cannot be read',
}

/** The delivery that lies there, which is not the title as it came. */
const DELIVERED: Readonly<Record<string, string>> = {
  true: 'the delivery conforms',
  false: 'delivered, not conforming',
  null: 'delivered',
}

/** The line that leaves the least room, by the name of its field. */
const LINES: Readonly<Record<string, string>> = {
  programmeLoudnessLkfs: 'programme loudness',
  dialogueLoudnessLkfs: 'dialogue loudness',
  maxTruePeakDbtp: 'true peak',
  maxLfeTruePeakDbtp: 'true peak of the LFE',
  maxShortTermLkfs: 'short-term loudness',
  maxMomentaryLkfs: 'momentary loudness',
  loudnessRangeLu: 'loudness range',
  'foldDown.loRo.programmeLoudnessLkfs': 'loudness of Lo/Ro',
  'foldDown.loRo.maxTruePeakDbtp': 'true peak of Lo/Ro',
}

/** What stands first where titles are sorted by their state: what needs ears. */
const URGENCY: readonly TitleState[] = [
  'refused',
  'does-not-conform',
  'needs-ears',
  'no-spec',
  'working',
  'new',
  'conforms',
]

type Order = 'name' | 'state' | 'margin'

/** The titles of the folder, with how each stands. */
export function ShelfScreen({ works }: { readonly works: Works }) {
  const shelf = useShelf(works)
  const [sought, setSought] = useState('')
  const [order, setOrder] = useState<Order>('name')
  const titles = useMemo(() => sorted(shelf?.titles ?? [], sought, order), [shelf, sought, order])
  const { files, send, hide } = useSending()
  const [isAdding, setAdding] = useState(false)
  const isDropping = useDropping(send)
  const unmeasured = shelf?.titles.filter(({ state }) => state === 'new') ?? []
  return (
    <main className={isDropping ? 'shelf dropping' : 'shelf'}>
      <header className="head">
        <Mark />
        <h1>Plimsoll</h1>
        <span className="slate">{shelf?.folder}</span>
        <span className="room" />
        <label>
          <span className="slate">Find </span>
          <input type="search" value={sought} onChange={(event) => setSought(event.target.value)} />
        </label>
        <label>
          <span className="slate">Sort by </span>
          <select value={order} onChange={(event) => setOrder(event.target.value as Order)}>
            <option value="name">name</option>
            <option value="state">state</option>
            <option value="margin">margin</option>
          </select>
        </label>
        <button type="button" onClick={() => setAdding(true)}>
          Add titles
        </button>
        <button
          type="button"
          disabled={unmeasured.length === 0}
          onClick={() => unmeasured.forEach(({ id }) => void orderMeasurement(id))}
        >
          Measure {unmeasured.length === 0 ? 'all' : `${unmeasured.length} new`}
        </button>
      </header>
      <SendingList files={files} onHide={hide} />
      {isAdding && <AddTitles folder={shelf?.folder ?? ''} onSend={send} onClose={() => setAdding(false)} />}
      {shelf !== null && shelf.titles.length === 0 ? (
        <EmptyShelf folder={shelf.folder} onAdd={() => setAdding(true)} />
      ) : (
        <ul className="titles" aria-label="Titles">
          {titles.map((title) => (
            <TitleRow key={title.id} title={title} works={works} />
          ))}
        </ul>
      )}
      {shelf !== null && titles.length === 0 && shelf.titles.length > 0 && (
        <p className="slate">No title has “{sought}” in its name.</p>
      )}
      <p className="caution">
        Set the monitor level low before you listen for the first time. Delivery specs here are transcribed from
        published documents: the recipient’s current written spec decides. Masters are never written to.
      </p>
    </main>
  )
}

function TitleRow({ title, works }: { readonly title: ShelfEntry; readonly works: Works }) {
  const { id, name, measured, state, refusal, delivery } = title
  const work =
    workOn(works, 'deliver', id)?.state === 'running' ? workOn(works, 'deliver', id) : workOn(works, 'measure', id)
  return (
    <li>
      <a href={titleAddress(id)} className="title-row">
        <span className="name">
          <b>{name}</b>
          <span className="slate">
            {measured === null
              ? title.path.split('/').at(-1)
              : `${measured.layout}, ${printTime(measured.durationSeconds)}${measured.specTitle === null ? '' : `, for ${measured.specTitle}`}`}
          </span>
        </span>
        <Picture levels={measured?.shortTermLkfs ?? []} />
        <span className={`state ${state}`}>
          {STATES[state]}
          {delivery !== null && <span className="slate small line">{DELIVERED[`${delivery.conforms}`]}</span>}
        </span>
        <span className="figure">
          {measured === null ? '' : printFigure(measured.programmeLoudnessLkfs)}
          {measured !== null && <span className="slate"> LKFS</span>}
        </span>
        <span className="figure margin">
          {measured?.thinnest == null || measured.thinnest.margin === null ? '' : signed(measured.thinnest.margin)}
          {measured?.thinnest != null && (
            <>
              <span className="slate"> {measured.thinnest.unit === 'dBTP' ? 'dB' : 'LU'} margin</span>
              <span className="slate small line">{LINES[measured.thinnest.line]}</span>
            </>
          )}
        </span>
      </a>
      {refusal !== null && <p className="refusal">{refusal.message}</p>}
      <WorkBar work={work} />
    </li>
  )
}

/** The loudness of a title in a word's size. */
function Picture({ levels }: { readonly levels: readonly (number | null)[] }) {
  const [width, height] = [levels.length, 30]
  const y = (level: number | null) =>
    level === null ? height : Math.min(height, Math.max(0, (-8 - level) * (height / 40)))
  const path = levels.map((level, i) => `V${y(level).toFixed(1)}H${i + 1}`).join('')
  return (
    <svg
      className="picture"
      viewBox={`0 0 ${Math.max(1, width)} ${height}`}
      preserveAspectRatio="none"
      aria-hidden="true"
    >
      {width > 0 && <path d={`M0 ${height}${path}V${height}Z`} />}
    </svg>
  )
}

function EmptyShelf({ folder, onAdd }: { readonly folder: string; readonly onAdd: () => void }) {
  return (
    <section className="empty">
      <h2>Nothing lies here yet</h2>
      <p>
        Drop masters (WAV, BWF, RF64, BW64 or FLAC) or sheets anywhere on this page, or put them into{' '}
        <code>{folder}</code> or folders in it: they appear by themselves.
      </p>
      <p>
        <button type="button" className="primary" onClick={onAdd}>
          Choose files or a folder
        </button>
      </p>
      <h2>Then</h2>
      <ol>
        <li>
          <b>Open a title.</b> It is measured, and you see how it stands against a delivery spec.
        </li>
        <li>
          <b>Choose a passage.</b> The list says where it is too loud or too soft, the largest effect first.
        </li>
        <li>
          <b>Trim, or leave it to the fit.</b> Every number follows while you trim; what you lock is not touched.
        </li>
        <li>
          <b>Deliver.</b> The mix and its fold-down are fitted to the spec, measured as written, with a report.
        </li>
      </ol>
      <p className="slate">
        Or start the desk on another folder: <code>plimsoll desk FOLDER</code>. To see it at work on invented titles:{' '}
        <code>npm start</code> in Plimsoll’s own folder.
      </p>
    </section>
  )
}

const LOOK_AGAIN_MS = 3000

/** The shelf as it is now: looked at again when work ends, and every few seconds for files that came or went. */
function useShelf(works: Works): Shelf | null {
  const [shelf, setShelf] = useState<Shelf | null>(null)
  const ended = [...works.values()].filter(({ state }) => state !== 'running').length
  // biome-ignore lint/correctness/useExhaustiveDependencies: the end of work is why the shelf is looked at again.
  useEffect(() => {
    let isHere = true
    const look = () =>
      fetchShelf().then(
        (found) => isHere && setShelf(found),
        () => {},
      )
    void look()
    const timer = setInterval(look, LOOK_AGAIN_MS)
    return () => {
      isHere = false
      clearInterval(timer)
    }
  }, [ended])
  return shelf
}

function sorted(titles: readonly ShelfEntry[], sought: string, order: Order): readonly ShelfEntry[] {
  const found = titles.filter(({ name, id }) => `${name} ${id}`.toLowerCase().includes(sought.trim().toLowerCase()))
  const room = ({ measured }: ShelfEntry) => measured?.thinnest?.margin ?? Number.POSITIVE_INFINITY
  if (order === 'state') return found.toSorted((a, b) => URGENCY.indexOf(a.state) - URGENCY.indexOf(b.state))
  if (order === 'margin') return found.toSorted((a, b) => (room(a) < room(b) ? -1 : room(a) > room(b) ? 1 : 0))
  return found
}

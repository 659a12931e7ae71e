import { useEffect, useId, useRef, useState } from 'react'
import { Box } from './box.tsx'
import { addPath, sendFile } from './calls.ts'

/** A file on its way to the shelf, and what became of it. */
type Sending = {
  readonly name: string
  readonly share: number
  readonly problem: string | null
  readonly isOver: boolean
  readonly stop: () => void
}

const MASTERS = ['.wav', '.bwf', '.rf64', '.bw64', '.flac', '.json']
/** A picture is called as its master is. */
const PICTURES = ['.mp4', '.m4v', '.mov', '.mkv', '.webm', '.mxf']
const ENDINGS = [...MASTERS, ...PICTURES]

/** Files sent one after the other; others can be added meanwhile. */
export function useSending() {
  const [files, setFiles] = useState<readonly Sending[]>([])
  const queue = useRef(Promise.resolve())
  const send = (chosen: readonly File[]) => {
    const masters = chosen.filter(({ name }) => ENDINGS.some((ending) => name.toLowerCase().endsWith(ending)))
    const [other] = chosen
    if (masters.length === 0 && other !== undefined) {
      const problem = `Not taken: masters end in ${ENDINGS.slice(0, -1).join(', ')}, sheets in .json. "Add titles" takes whole folders.`
      const left = { name: other.name, share: 0, problem, isOver: true, stop: () => {} }
      setFiles((before) => [...before.filter(({ name }) => name !== left.name), left])
    }
    for (const file of masters) {
      const name = (file.webkitRelativePath || file.name).split('/').slice(-2).join('/')
      const stopper = new AbortController()
      const change = (more: Partial<Sending>) =>
        setFiles((before) => before.map((one) => (one.name === name ? { ...one, ...more } : one)))
      const fresh = { name, share: 0, problem: null, isOver: false, stop: () => stopper.abort() }
      setFiles((before) => [...before.filter((one) => one.name !== name), fresh])
      queue.current = queue.current.then(async () => {
        if (stopper.signal.aborted) return change({ isOver: true, problem: 'Stopped; nothing of it was kept.' })
        const tell = (share: number) => change({ share })
        return sendFile(name, file, tell, stopper.signal).then(
          () => change({ share: 1, isOver: true }),
          (error: Error) => change({ isOver: true, problem: error.message }),
        )
      })
    }
  }
  const hide = (name: string) => setFiles((before) => before.filter((one) => one.name !== name))
  return { files, send, hide }
}

/** What is on its way to the shelf. */
export function SendingList({
  files,
  onHide,
}: {
  readonly files: readonly Sending[]
  readonly onHide: (name: string) => void
}) {
  const seen = files.filter(({ isOver, problem }) => !isOver || problem !== null)
  if (seen.length === 0) return null
  return (
    <ul className="sending" aria-label="Files on their way">
      {seen.map(({ name, share, problem, isOver, stop }) => (
        <li key={name} className="work">
          <span>{name}</span>
          {problem !== null ? (
            <span className="refusal" role="alert">
              {problem}
            </span>
          ) : (
            <progress max={1} value={share} aria-label={`${name}: ${Math.round(share * 100)} %`} />
          )}
          {isOver ? (
            <button type="button" className="plain" onClick={() => onHide(name)} aria-label={`Hide ${name}`}>
              Hide
            </button>
          ) : (
            <button type="button" className="plain" onClick={stop} aria-label={`Stop ${name}`}>
              Stop
            </button>
          )}
        </li>
      ))}
    </ul>
  )
}

/** Ways to put titles on the shelf: files, a folder, or a path on this machine. */
export function AddTitles({
  folder,
  onSend,
  onClose,
}: {
  readonly folder: string
  readonly onSend: (files: readonly File[]) => void
  readonly onClose: () => void
}) {
  const [path, setPath] = useState('')
  const [problem, setProblem] = useState<string | null>(null)
  const [isAdding, setAdding] = useState(false)
  const [files, directory, typed] = [useId(), useId(), useId()]
  const taken = (list: FileList | null) => {
    onSend([...(list ?? [])])
    onClose()
  }
  const add = async () => {
    setAdding(true)
    await addPath(path).then(onClose, (error: Error) => setProblem(error.message))
    setAdding(false)
  }
  return (
    <Box title="Add titles" onClose={onClose}>
      <p>
        Files that you pick, or drop anywhere on the shelf, are copied into <code>{folder}</code>; none is ever
        overwritten. A picture belongs to the master that is called as it is.
      </p>
      <p className="pick">
        <label htmlFor={files}>Files</label>
        <input
          id={files}
          type="file"
          multiple
          accept={ENDINGS.join(',')}
          onChange={(event) => taken(event.target.files)}
        />
      </p>
      <p className="pick">
        <label htmlFor={directory}>A folder</label>
        <input
          id={directory}
          type="file"
          multiple
          {...{ webkitdirectory: '' }}
          onChange={(event) => taken(event.target.files)}
        />
      </p>
      <form
        className="pick"
        onSubmit={(event) => {
          event.preventDefault()
          void add()
        }}
      >
        <label htmlFor={typed}>Path on this machine</label>
        <input id={typed} type="text" value={path} onChange={(event) => setPath(event.target.value)} />
        <button type="submit" disabled={path.trim() === '' || isAdding}>
          {isAdding ? 'Reading …' : 'Add'}
        </button>
      </form>
      <p className="slate">A master that is added by its path stays where it is: a sheet on the shelf names it.</p>
      {problem !== null && (
        <p className="refusal" role="alert">
          {problem}
        </p>
      )}
    </Box>
  )
}

/** Takes what is dropped anywhere on the page; true while something is held over it. */
export function useDropping(onDrop: (files: readonly File[]) => void): boolean {
  const [isOver, setOver] = useState(false)
  const latest = useRef(onDrop)
  latest.current = onDrop
  useEffect(() => {
    const over = (event: DragEvent) => {
      event.preventDefault()
      setOver(true)
    }
    const leave = (event: DragEvent) => event.relatedTarget === null && setOver(false)
    const drop = (event: DragEvent) => {
      event.preventDefault()
      setOver(false)
      latest.current([...(event.dataTransfer?.files ?? [])])
    }
    window.addEventListener('dragover', over)
    window.addEventListener('dragleave', leave)
    window.addEventListener('drop', drop)
    return () => {
      window.removeEventListener('dragover', over)
      window.removeEventListener('dragleave', leave)
      window.removeEventListener('drop', drop)
    }
  }, [])
  return isOver
}

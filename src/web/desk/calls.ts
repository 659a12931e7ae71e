import {
  type ListeningPlan,
  type RefusalMessage,
  type SceneSuggestion,
  type SheetState,
  type Shelf,
  unpackPlan,
  unpackTitle,
  type WorkMessage,
} from '../../protocol/index.ts'

/** The desk said no, in words for the user. */
export class DeskRefusal extends Error {
  readonly code: string

  constructor({ code, message }: RefusalMessage) {
    super(message)
    this.code = code
  }
}

export type OpenedTitle = ReturnType<typeof unpackTitle>

export async function fetchShelf(): Promise<Shelf> {
  return (await call('GET', '/api/shelf')).json()
}

/** A title with its energies; null where it is not measured yet. */
export async function fetchTitle(id: string): Promise<OpenedTitle | null> {
  const answer = await call('GET', `/api/title?id=${encodeURIComponent(id)}`)
  return answer.status === 204 ? null : unpackTitle(await answer.arrayBuffer())
}

/** Where samples of a title are had: as they lie in its file, or of the master that its plan starts from. */
export function soundAddress(id: string, of: string): string {
  return `/api/sound?id=${encodeURIComponent(id)}&of=${of}`
}

/** Where the picture of a title is had, any stretch of it. */
export function pictureAddress(id: string, name: string): string {
  return `/api/picture?id=${encodeURIComponent(id)}&name=${encodeURIComponent(name)}`
}

/** One tile of how a title looks over time. */
export async function fetchWaveform(id: string, level: number, tile: number): Promise<Int16Array> {
  const answer = await call('GET', `/api/waveform?id=${encodeURIComponent(id)}&level=${level}&tile=${tile}`)
  const bytes = new DataView(await answer.arrayBuffer())
  return Int16Array.from({ length: bytes.byteLength / 2 }, (_, index) => bytes.getInt16(2 * index, true))
}

/** What a delivery by this sheet would begin with; null if it was stopped. */
export async function fetchPlan(id: string, text: string): Promise<ListeningPlan | null> {
  const answer = await call('POST', `/api/plan?id=${encodeURIComponent(id)}`, { text })
  return answer.status === 204 ? null : unpackPlan(await answer.arrayBuffer())
}

export async function orderMeasurement(id: string): Promise<void> {
  await call('POST', `/api/measure?id=${encodeURIComponent(id)}`)
}

export async function orderDelivery(id: string, keepsNonconforming: boolean): Promise<void> {
  await call('POST', `/api/deliver?id=${encodeURIComponent(id)}`, { keepsNonconforming })
}

/** Looks for scenes of the upmix; null where that was stopped or refused, as the work says. */
export async function suggestScenes(id: string): Promise<SceneSuggestion | null> {
  const answer = await call('POST', `/api/scenes?id=${encodeURIComponent(id)}`)
  return answer.status === 204 ? null : answer.json()
}

export async function stopWork(id: string, kind: WorkMessage['kind']): Promise<void> {
  await call('POST', `/api/stop?id=${encodeURIComponent(id)}&kind=${kind}`)
}

/** The sheet of a title as it lies on disk now; null where there is none. */
export async function fetchSheet(id: string): Promise<SheetState | null> {
  const answer = await call('GET', `/api/sheet?id=${encodeURIComponent(id)}`)
  return answer.status === 204 ? null : answer.json()
}

/** Saves a sheet; gives the title's id and the sheet's tag from now on. */
export async function saveSheet(
  id: string,
  text: string,
  tag: string,
): Promise<{ readonly id: string; readonly tag: string }> {
  return (await call('PUT', `/api/sheet?id=${encodeURIComponent(id)}`, { text, tag })).json()
}

/** Shows the folder of the delivery on this machine's screen; false where it has none that could. */
export async function showDelivery(id: string): Promise<boolean> {
  const { isShown } = await (await call('POST', `/api/show?id=${encodeURIComponent(id)}`)).json()
  return isShown === true
}

/** The same report on A4, to be kept or sent. */
export function reportPaperAddress(id: string): string {
  return `/api/report.pdf?id=${encodeURIComponent(id)}`
}

export function reportAddress(id: string): string {
  return `/api/report?id=${encodeURIComponent(id)}`
}

/** Puts what lies elsewhere on this machine on the shelf; gives how many titles that are. */
export async function addPath(path: string): Promise<number> {
  const { count } = (await (await call('POST', '/api/add', { path })).json()) as { readonly count: number }
  return count
}

/** Sends a file to the shelf as it is read; never in place of another. */
export function sendFile(name: string, file: File, tell: (share: number) => void, signal: AbortSignal): Promise<void> {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest()
    request.open('POST', `/api/file?name=${encodeURIComponent(name)}`)
    request.setRequestHeader('X-File-Bytes', String(file.size))
    request.upload.onprogress = ({ loaded }) => tell(file.size === 0 ? 1 : loaded / file.size)
    request.onabort = () => reject(new Error('Stopped; nothing of it was kept.'))
    request.onerror = () => reject(new Error('The desk no longer answers; nothing of it was kept.'))
    request.onload = () => {
      if (request.status === 201) return resolve()
      const told = JSON.parse(request.responseText || 'null') as { readonly refusal?: RefusalMessage } | null
      return reject(new Error(told?.refusal?.message ?? 'The desk did not take it.'))
    }
    signal.addEventListener('abort', () => request.abort())
    request.send(file)
  })
}

/** Hears of all work until the returned function is called; `onLost` where the desk no longer answers. */
export function listenToWork(onNews: (message: WorkMessage) => void, onState: (isOpen: boolean) => void): () => void {
  const source = new EventSource('/api/work')
  source.onmessage = ({ data }) => onNews(JSON.parse(data) as WorkMessage)
  source.onopen = () => onState(true)
  source.onerror = () => onState(false)
  return () => source.close()
}

async function call(method: string, address: string, body?: object): Promise<Response> {
  const sent = body === undefined ? {} : { body: JSON.stringify(body), headers: { 'Content-Type': 'application/json' } }
  return accepted(await fetch(address, { method, ...sent }))
}

async function accepted(answer: Response): Promise<Response> {
  if (answer.ok) return answer
  const told = (await answer.json().catch(() => null)) as { readonly refusal?: RefusalMessage } | null
  throw new DeskRefusal(
    told?.refusal ?? { code: String(answer.status), message: 'The desk did not answer as it should. Start it again.' },
  )
}

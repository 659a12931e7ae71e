import { createReadStream, existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { Readable } from 'node:stream'
import { Hono } from 'hono'
import { streamSSE } from 'hono/streaming'
import { Refusal } from '../domain/index.ts'
import { type Shelf, showOnScreen } from '../jobs/index.ts'
import {
  addOrder,
  deliverOrder,
  packPlan,
  packTitle,
  planOrder,
  sheetChange,
  type WorkMessage,
  workKind,
} from '../protocol/index.ts'
import { addPicture } from './picture-route.ts'

/** Keeps a connection from being taken for dead. */
const HEARTBEAT_MS = 15_000

const OCTETS = { 'Content-Type': 'application/octet-stream' }

/** Of sound in one answer: ten seconds at the highest rate. */
const MOST_FRAMES = 1_920_000

/** The report as files to keep, by name. */
const REPORT_FILES = { 'report.pdf': 'application/pdf', 'report.json': 'application/json' } as const

/** What the page asks and orders. A title is named by its id in the query, since ids hold slashes. */
export function deskRoutes(shelf: Shelf): Hono {
  const routes = new Hono()
  routes.onError((error, context) => {
    if (!(error instanceof Refusal)) throw error
    const status = error.code === 'JOBS_SHEET_CHANGED' ? 409 : error.code === 'JOBS_TITLE_UNKNOWN' ? 404 : 422
    return context.json({ refusal: { code: error.code, message: `${error.message}. ${error.remedy}` } }, status)
  })

  routes.get('/shelf', (context) => context.json({ version: 1, folder: shelf.folder, titles: shelf.titles() }))

  routes.post('/file', async (context) => {
    const { body, headers } = context.req.raw
    const length = headers.get('x-file-bytes')
    const bytes = (body ?? new Blob([]).stream()) as Parameters<Shelf['takeIn']>[1]
    await shelf.takeIn(context.req.query('name') ?? '', bytes, length === null ? null : Number(length))
    return context.json({ version: 1 }, 201)
  })

  routes.post('/add', async (context) => {
    const { path } = addOrder.parse(await context.req.json())
    return context.json({ version: 1, count: await shelf.adopt(path) }, 201)
  })

  routes.get('/title', (context) => {
    const opened = shelf.opened(idOf(context.req.query('id')))
    if (opened === null) return context.body(null, 204)
    return context.body(packTitle(opened.head, opened.energies), 200, OCTETS)
  })

  routes.get('/sound', (context) => {
    const [from, count] = [Number(context.req.query('from')), Number(context.req.query('count'))]
    if (![from, count].every(Number.isInteger) || count > MOST_FRAMES) return context.text('Ask for less.\n', 400)
    const of = context.req.query('of') === 'master' ? 'master' : 'source'
    return context.body(shelf.sound(idOf(context.req.query('id')), from, count, of), 200, OCTETS)
  })

  routes.get('/waveform', (context) => {
    const [level, tile] = [Number(context.req.query('level')), Number(context.req.query('tile'))]
    if (![level, tile].every((number) => Number.isInteger(number) && number >= 0))
      return context.text('Name a level and a tile.\n', 400)
    return context.body(shelf.waveform(idOf(context.req.query('id')), level, tile), 200, OCTETS)
  })

  routes.post('/measure', (context) => {
    void shelf.measure(idOf(context.req.query('id')))
    return context.json({ version: 1 }, 202)
  })

  routes.post('/plan', async (context) => {
    const { text } = planOrder.parse(await context.req.json())
    const plan = await shelf.plan(idOf(context.req.query('id')), text)
    return plan === null ? context.body(null, 204) : context.body(packPlan(plan), 200, OCTETS)
  })

  routes.get('/sheet', (context) => {
    const state = shelf.sheet(idOf(context.req.query('id')))
    return state === null ? context.body(null, 204) : context.json(state)
  })

  routes.put('/sheet', async (context) => {
    const { text, tag } = sheetChange.parse(await context.req.json())
    return context.json(await shelf.saveSheet(idOf(context.req.query('id')), text, tag))
  })

  routes.post('/deliver', async (context) => {
    const { keepsNonconforming } = deliverOrder.parse(await context.req.json())
    void shelf.deliver(idOf(context.req.query('id')), keepsNonconforming)
    return context.json({ version: 1 }, 202)
  })

  routes.post('/scenes', async (context) => {
    const suggestion = await shelf.suggestScenes(idOf(context.req.query('id')))
    return suggestion === null ? context.body(null, 204) : context.json(suggestion)
  })

  routes.post('/stop', (context) => {
    const kind = workKind.parse(context.req.query('kind'))
    shelf.work.stop({ titleId: idOf(context.req.query('id')), kind })
    return context.json({ version: 1 })
  })

  addPicture(routes, shelf)
  addReports(routes, shelf)

  routes.get('/work', (context) =>
    streamSSE(context, async (stream) => {
      const send = (message: WorkMessage) => void stream.writeSSE({ data: JSON.stringify(message) })
      const leave = shelf.work.listen(send)
      stream.onAbort(leave)
      while (!stream.aborted) {
        await stream.sleep(HEARTBEAT_MS)
        await stream.writeSSE({ event: 'heartbeat', data: '' })
      }
    }),
  )
  return routes
}

function addReports(routes: Hono, shelf: Shelf): void {
  routes.post('/show', async (context) => {
    const folder = shelf.deliveryFolder(idOf(context.req.query('id')))
    if (!existsSync(folder)) return context.text('No delivery yet.\n', 404)
    return context.json({ version: 1, folder, isShown: await showOnScreen(folder) })
  })

  routes.get('/report', (context) => {
    const folder = shelf.deliveryFolder(idOf(context.req.query('id')))
    const page = ['report.html', 'not-delivered.html'].map((name) => join(folder, name)).find(existsSync)
    return page === undefined ? context.text('No report yet.\n', 404) : context.html(readFileSync(page, 'utf8'))
  })

  for (const [name, type] of Object.entries(REPORT_FILES)) {
    routes.get(`/${name}`, (context) => {
      const path = join(shelf.deliveryFolder(idOf(context.req.query('id'))), name)
      if (!existsSync(path)) return context.text('No report yet.\n', 404)
      return context.body(Readable.toWeb(createReadStream(path)) as ReadableStream, 200, {
        'Content-Type': type,
        'Content-Disposition': `attachment; filename="${name}"`,
      })
    })
  }
}

function idOf(id: string | undefined): string {
  return id ?? ''
}

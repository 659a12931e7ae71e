import { createReadStream, statSync } from 'node:fs'
import { Readable } from 'node:stream'
import type { Hono } from 'hono'
import type { Shelf } from '../jobs/index.ts'

/** The picture of a title, any stretch of it: a browser fetches what it shows. @source RFC 9110 14 */
export function addPicture(routes: Hono, shelf: Shelf): void {
  routes.get('/picture', (context) => {
    const name = context.req.query('name')
    const picture = shelf.pictures(context.req.query('id') ?? '').find((one) => one.name === name)
    if (picture === undefined) return context.text('There is no such picture any more. Open the title again.\n', 404)
    const { size } = statSync(picture.path)
    const range = rangeOf(context.req.header('range'), size)
    const headers = { 'Content-Type': picture.mediaType, 'Accept-Ranges': 'bytes' }
    if (range === 'outside') return context.body(null, 416, { 'Content-Range': `bytes */${size}` })
    const { first, last } = range ?? { first: 0, last: size - 1 }
    const body = Readable.toWeb(createReadStream(picture.path, { start: first, end: last })) as ReadableStream
    const told = { ...headers, 'Content-Length': String(last - first + 1) }
    if (range === null) return context.body(body, 200, told)
    return context.body(body, 206, { ...told, 'Content-Range': `bytes ${first}-${last}/${size}` })
  })
}

/** The bytes that are asked for; null: all of them, also where several stretches are. */
function rangeOf(asked: string | undefined, size: number): { first: number; last: number } | 'outside' | null {
  const [, from, to] = /^bytes=(\d*)-(\d*)$/.exec(asked ?? '') ?? []
  if (from === undefined || to === undefined || (from === '' && to === '')) return null
  const first = from === '' ? Math.max(0, size - Number(to)) : Number(from)
  const last = from === '' || to === '' ? size - 1 : Math.min(size - 1, Number(to))
  return first > last ? 'outside' : { first, last }
}

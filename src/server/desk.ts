import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import type { AddressInfo } from 'node:net'
import { createAdaptorServer, type ServerType } from '@hono/node-server'
import { Hono } from 'hono'
import { paletteCss, Shelf } from '../jobs/index.ts'
import { guard, newToken } from './guard.ts'
import { deskRoutes } from './routes.ts'

/** The port that is tried first. */
const CUSTOMARY_PORT = 7404
const TRIED_PORTS = 20
const LOOPBACK = '127.0.0.1'

type OpenDesk = {
  /** With the token: whoever has it may use the desk. */
  readonly url: string
  /** Stops all work, lets go of the port. */
  close(): Promise<void>
}

/**
 * Opens the desk on the titles of a folder: a page on this machine only. A port that is taken means the next one.
 * @throws the system's error if none of the ports can be had
 */
export async function openDesk(options: {
  readonly folder: string
  readonly port?: number | undefined
  readonly workers?: number | undefined
  /** Measure every title at once. */
  readonly measures?: boolean
}): Promise<OpenDesk> {
  const shelf = new Shelf(options.folder, options.workers)
  const titles = shelf.titles()
  const token = newToken()
  let port = 0
  const app = new Hono()
  app.use(guard(token, () => port))
  app.route('/api', deskRoutes(shelf))
  for (const { path, type, read } of PAGE)
    app.get(path, (context) => context.body(read(), 200, { 'Content-Type': type }))
  const server = createAdaptorServer({ fetch: app.fetch })
  port = await listen(server, options.port ?? CUSTOMARY_PORT)
  if (options.measures) for (const { id } of titles) void shelf.measure(id)
  return {
    url: `http://${LOOPBACK}:${port}/?token=${token}`,
    async close() {
      await shelf.work.stopAll()
      await shelf.close()
      if ('closeAllConnections' in server) server.closeAllConnections()
      await new Promise((resolve) => server.close(resolve))
    },
  }
}

const require = createRequire(import.meta.url)

function built(name: string, folder = 'web/desk/') {
  return () => new Uint8Array(readFileSync(new URL(`../../build/${folder}${name}`, import.meta.url)))
}

function font(weight: number) {
  return {
    path: `/sans-${weight}.woff2`,
    type: 'font/woff2',
    read: () =>
      new Uint8Array(
        readFileSync(require.resolve(`@fontsource/ibm-plex-sans/files/ibm-plex-sans-latin-${weight}-normal.woff2`)),
      ),
  }
}

/** The colours of the report, by day and at night. */
function palette(): Uint8Array<ArrayBuffer> {
  const night = `@media (prefers-color-scheme:dark){:root{${paletteCss('dark')}}}`
  return new TextEncoder().encode(`:root{color-scheme:light dark;${paletteCss('light')}}${night}`)
}

/** All that the page consists of; nothing is fetched from outside. */
const PAGE = [
  { path: '/', type: 'text/html; charset=utf-8', read: built('index.html') },
  { path: '/desk.js', type: 'text/javascript; charset=utf-8', read: built('desk.js') },
  { path: '/player.js', type: 'text/javascript; charset=utf-8', read: built('player.js') },
  { path: '/live.js', type: 'text/javascript; charset=utf-8', read: built('live.js') },
  { path: '/kernels.wasm', type: 'application/wasm', read: built('kernels.wasm', '') },
  { path: '/desk.css', type: 'text/css; charset=utf-8', read: built('desk.css') },
  { path: '/mark.svg', type: 'image/svg+xml', read: built('mark.svg') },
  { path: '/palette.css', type: 'text/css; charset=utf-8', read: palette },
  font(400),
  font(600),
]

async function listen(server: ServerType, first: number): Promise<number> {
  for (let port = first; ; port++) {
    try {
      await new Promise<void>((resolve, reject) => {
        server.once('error', reject)
        server.listen(port, LOOPBACK, () => {
          server.off('error', reject)
          resolve()
        })
      })
      return (server.address() as AddressInfo).port
    } catch (error) {
      const isTaken = (error as NodeJS.ErrnoException).code === 'EADDRINUSE'
      if (!isTaken || first === 0 || port >= first + TRIED_PORTS) throw error
    }
  }
}

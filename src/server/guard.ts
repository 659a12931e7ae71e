import { randomBytes, timingSafeEqual } from 'node:crypto'
import type { Context, MiddlewareHandler } from 'hono'
import { getCookie, setCookie } from 'hono/cookie'

const COOKIE = 'plimsoll-desk'
const TOKEN_BYTES = 24

/** A word that only who started the desk knows. */
export function newToken(): string {
  return randomBytes(TOKEN_BYTES).toString('base64url')
}

/**
 * Lets in only the browser that was opened with the token, and only under a loopback name: a page from elsewhere can
 * neither read nor change anything, also where it makes its own name point here.
 * @param port that the desk listens on, known once it does
 */
export function guard(token: string, port: () => number): MiddlewareHandler {
  return async (context, next) => {
    const hosts = [`127.0.0.1:${port()}`, `localhost:${port()}`]
    const host = context.req.header('host') ?? ''
    if (!hosts.includes(host)) return context.text('This desk answers only to its own address.\n', 421)
    const origin = context.req.header('origin')
    if (origin !== undefined && origin !== `http://${host}`) {
      return context.text('This desk does not answer to other pages.\n', 403)
    }
    const offered = context.req.query('token')
    if (offered !== undefined && isSame(offered, token)) return letIn(context, token)
    if (!isSame(getCookie(context, COOKIE) ?? '', token)) {
      return context.text('Open the address that the terminal shows: it holds the token of this desk.\n', 401)
    }
    await next()
    secure(context)
    return undefined
  }
}

/** The token goes from the address into a cookie, so that it stands in no history and no bookmark. */
function letIn(context: Context, token: string): Response {
  setCookie(context, COOKIE, token, { httpOnly: true, sameSite: 'Strict', path: '/' })
  secure(context)
  return context.redirect('/', 303)
}

function secure(context: Context): void {
  context.header('Cache-Control', 'no-store')
  context.header('X-Content-Type-Options', 'nosniff')
  context.header('Referrer-Policy', 'no-referrer')
  context.header('Cross-Origin-Resource-Policy', 'same-origin')
  context.header('Cross-Origin-Opener-Policy', 'same-origin')
  context.header('Cross-Origin-Embedder-Policy', 'require-corp')
}

function isSame(offered: string, token: string): boolean {
  const [a, b] = [Buffer.from(offered), Buffer.from(token)]
  return a.length === b.length && timingSafeEqual(a, b)
}

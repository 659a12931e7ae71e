// The desk as a user has it: the built command serving a folder, and a real browser looking at it.
import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { type Browser, chromium, type Page } from 'playwright-core'
import { startPlimsoll } from './cli.ts'

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8')

export type Desk = {
  readonly url: string
  /** Ends it as Ctrl-C does; gives its exit code. */
  readonly stop: () => Promise<number | null>
  /** Ends it as a power cut does. */
  readonly kill: () => Promise<void>
}

/** Starts `plimsoll desk` on a folder and waits until it is ready. */
export async function startDesk(folder: string): Promise<Desk> {
  const { child, ended } = startPlimsoll(['desk', folder, '--no-open', '--port', '0'])
  const url = await new Promise<string>((resolve, reject) => {
    child.stdout!.on('data', (text: string) => {
      const ready = /Ready: (\S+)/.exec(text)
      if (ready !== null) resolve(ready[1]!)
    })
    void ended.then(({ stderr }) => reject(new Error(`the desk ended before it was ready: ${stderr}`)))
  })
  return {
    url,
    stop: async () => {
      child.kill('SIGTERM')
      return (await ended).code
    },
    kill: async () => {
      child.kill('SIGKILL')
      await ended
    },
  }
}

/** Asks the desk what its page asks, with the token. */
export async function askDesk({ url }: Desk, method: 'GET' | 'POST', path: string, body?: object): Promise<Response> {
  const cookie = `plimsoll-desk=${new URL(url).searchParams.get('token')}`
  const sent = body === undefined ? {} : { body: JSON.stringify(body) }
  return fetch(new URL(path, url), { method, headers: { cookie, 'Content-Type': 'application/json' }, ...sent })
}

/** The bytes of an answer by themselves: Playwright gives a view into what it holds. */
export function bytesOf(answer: Buffer): ArrayBuffer {
  return Uint8Array.from(answer).buffer
}

/** Debian's Chromium, with nothing of it that talks to the world. */
export function openBrowser(more: readonly string[] = []): Promise<Browser> {
  return chromium.launch({
    executablePath: '/usr/bin/chromium',
    args: [
      '--no-sandbox',
      '--disable-dev-shm-usage',
      '--disable-gpu',
      '--disable-background-networking',
      '--disable-sync',
      ...more,
    ],
  })
}

/** Colours on their way from one scheme to the other are none of either. */
export async function comeToRest(page: Page): Promise<void> {
  await page.evaluate('Promise.all(document.getAnimations().map(({ finished }) => finished.catch(() => {})))')
}

/** What axe-core finds wrong with the page as it stands; empty: nothing. */
export async function accessFaults(page: Page): Promise<readonly string[]> {
  await comeToRest(page)
  await page.evaluate(AXE)
  const { violations } = (await page.evaluate('axe.run()')) as {
    readonly violations: readonly { readonly id: string; readonly nodes: readonly { readonly html: string }[] }[]
  }
  return violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => `${id}: ${html.slice(0, 200)}`))
}

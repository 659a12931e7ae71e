// What a person would look at: pictures of screens, kept with what is built and never in git.
import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import type { Page } from 'playwright-core'
import { comeToRest } from './desk.ts'

const FOLDER = fileURLToPath(new URL('../../build/screens/', import.meta.url))

export const SCHEMES = ['light', 'dark'] as const

/** A laptop, and a large screen. */
const SIZES = [
  { width: 1280, height: 800 },
  { width: 3840, height: 2160 },
] as const

/**
 * Shows the page as it stands by day and at night, and keeps a picture of each; afterwards it is as it was before.
 * @param sizes how many of the sizes; the first is the one that tests work in
 * @param look done with the page in each scheme, at the first size
 */
export async function keepScreen(
  page: Page,
  name: string,
  sizes: 1 | 2 = 1,
  look: (scheme: (typeof SCHEMES)[number]) => Promise<void> = async () => {},
): Promise<void> {
  mkdirSync(FOLDER, { recursive: true })
  for (const scheme of SCHEMES) {
    await page.emulateMedia({ colorScheme: scheme })
    await comeToRest(page)
    await look(scheme)
    for (const size of SIZES.slice(0, sizes)) {
      await page.setViewportSize(size)
      await page.screenshot({ path: join(FOLDER, `${name}-${scheme}-${size.width}.png`) })
    }
    await page.setViewportSize(SIZES[0])
  }
}

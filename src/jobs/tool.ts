import { readFileSync } from 'node:fs'

/** The program's own version, from its package. */
export const TOOL_VERSION: string = (
  JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8')) as { version: string }
).version

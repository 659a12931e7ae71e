import type { WorkMessage } from '../../protocol/index.ts'

/** What is known of work, by kind and title. */
export type Works = ReadonlyMap<string, WorkMessage>

export function workOn(works: Works, kind: WorkMessage['kind'], titleId: string): WorkMessage | null {
  return works.get(`${kind} ${titleId}`) ?? null
}

/** The address of a title's screen. */
export function titleAddress(titleId: string): string {
  return `#title/${encodeURIComponent(titleId)}`
}

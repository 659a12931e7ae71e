import { type Markup, markup, px } from './markup.ts'

/** Plimsoll's mark: a circle crossed by one line, in one stroke weight. */
export function mark(centreX: number, centreY: number, radius: number): Markup {
  const reach = px(radius * 1.6)
  const x = px(centreX)
  const y = px(centreY)
  return markup`<g class="mark"><circle cx="${x}" cy="${y}" r="${radius}"/><path d="M${px(x - reach)} ${y}h${px(2 * reach)}"/></g>`
}

/** The mark as a word-sized picture, without meaning of its own to a screen reader. */
export function markPicture(size: number): Markup {
  return markup`<svg class="emblem" width="${px(size * 1.1)}" height="${size}" viewBox="0 0 22 20" aria-hidden="true">${mark(11, 10, 6)}</svg>`
}

/** The mark for the browser's tab. */
export const MARK_ICON =
  "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 22 20'%3E%3Cg fill='none' stroke='%232F6F8F' " +
  "stroke-width='2'%3E%3Ccircle cx='11' cy='10' r='6'/%3E%3Cpath d='M1 10h20'/%3E%3C/g%3E%3C/svg%3E"

import type { ProgrammeLanes } from '../domain/index.ts'
import { type Plot, scale } from './axes.ts'
import { areaPath } from './curves.ts'
import { type Markup, markup, px } from './markup.ts'

/** Room between two lanes, the dialogue lane's height and that of one channel. */
const GAP = 5
const DIALOGUE_HEIGHT = 9
const CHANNEL_HEIGHT = 13

/** Channel activity is drawn over this span below the loudest column of any channel. */
const ACTIVITY_DEPTH_DB = 48

/** A column counts as dialogue from this share on. */
const DIALOGUE_SHARE = 0.5

/** Height that the lanes take below a chart; 0 where there are none. */
export function lanesHeight(lanes: ProgrammeLanes | null): number {
  if (lanes === null) return 0
  const dialogue = lanes.dialogue === null ? 0 : GAP + DIALOGUE_HEIGHT
  return dialogue + lanes.channels.length * (GAP + CHANNEL_HEIGHT)
}

/** The dialogue lane and the activity of each channel, under a chart whose plot ends at `plot.bottom`. */
export function lanesDrawing(lanes: ProgrammeLanes | null, plot: Plot, x: (seconds: number) => number): Markup | null {
  if (lanes === null) return null
  const dialogueBottom = plot.bottom + (lanes.dialogue === null ? 0 : GAP + DIALOGUE_HEIGHT)
  return markup`${dialogueLane(lanes, plot, x)}${channelLanes(lanes, plot.left, dialogueBottom, x)}`
}

function dialogueLane(
  { dialogue, columnSeconds }: ProgrammeLanes,
  plot: Plot,
  x: (seconds: number) => number,
): Markup | null {
  if (dialogue === null) return null
  const top = plot.bottom + GAP
  let path = ''
  for (let column = 0; column < dialogue.length; ) {
    let end = column
    while (end < dialogue.length && (dialogue[end] as number) >= DIALOGUE_SHARE) end++
    if (end > column) {
      const from = x(column * columnSeconds)
      path += `M${px(from)} ${top}H${px(Math.max(from + 1, x(end * columnSeconds)))}v${DIALOGUE_HEIGHT}H${px(from)}Z`
    }
    column = end + 1
  }
  return markup`<text class="lane end" x="${plot.left - 8}" y="${top + DIALOGUE_HEIGHT - 1}">dialogue</text><path class="laid" d="M${plot.left} ${top + DIALOGUE_HEIGHT}H${plot.right}"/><path class="dialogue" d="${path}"/>`
}

function channelLanes(
  { channels, columnSeconds }: ProgrammeLanes,
  left: number,
  top: number,
  x: (seconds: number) => number,
): readonly Markup[] {
  const levels = channels.flatMap(({ levelLkfs }) => levelLkfs.filter((level) => level !== null))
  const loudest = levels.reduce((most, level) => Math.max(most, level), -ACTIVITY_DEPTH_DB)
  const at = (column: number) => x((column + 0.5) * columnSeconds)
  return channels.map(({ role, levelLkfs }, index) => {
    const floor = top + (index + 1) * (GAP + CHANNEL_HEIGHT)
    const y = scale(loudest - ACTIVITY_DEPTH_DB, loudest, floor, floor - CHANNEL_HEIGHT)
    const heard = levelLkfs.map((level) => (level === null || level <= loudest - ACTIVITY_DEPTH_DB ? null : level))
    return markup`<text class="lane end" x="${left - 8}" y="${floor - 2}">${role}</text><path class="laid" d="M${left} ${px(floor)}H${px(x(Number.POSITIVE_INFINITY))}"/><path class="activity" d="${areaPath(heard, at, y, floor)}"/>`
  })
}

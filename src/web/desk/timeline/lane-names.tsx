import type { Lane, Lanes } from './lanes.ts'
import type { Scene } from './scene.ts'

/** What each lane is, left of it. */
export function LaneNames({ lanes, scene }: { readonly lanes: Lanes; readonly scene: Scene }) {
  const named: readonly (readonly [string, Lane | null])[] = [
    ['whole', lanes.overview],
    ['scenes', lanes.scenes],
    ['dialogue', lanes.dialogue],
    ['trims', lanes.trims],
    ['fit', lanes.fitWords],
    ['ride', lanes.ride],
    ['ceiling', lanes.ceiling],
    ['bands', lanes.bands],
    ...scene.channels.map(({ role }, index) => [role, lanes.channels[index]!] as const),
  ]
  return named.map(([name, lane]) =>
    lane === null ? null : (
      <span key={name} className="lane-name" style={{ ...lane, width: lanes.left - 8 }}>
        {name}
      </span>
    ),
  )
}

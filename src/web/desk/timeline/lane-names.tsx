import type { Lane, Lanes } from './lanes.ts'
import type { Scene } from './scene.ts'

/** What each lane is, left of it; a channel's name opens and folds it. */
export function LaneNames({
  lanes,
  scene,
  onOpenChannel,
}: {
  readonly lanes: Lanes
  readonly scene: Scene
  readonly onOpenChannel: (channel: number) => void
}) {
  const named: readonly (readonly [string, Lane | null])[] = [
    ['whole', lanes.overview],
    ['scenes', lanes.scenes],
    ['dialogue', lanes.dialogue],
    ['trims', lanes.trims],
    ['fit', lanes.fitWords],
    ['ride', lanes.ride],
    ['LFE ride', lanes.lfe],
    ['ceiling', lanes.ceiling],
    ['bands', lanes.bands],
    ['energy', lanes.energy],
  ]
  const width = lanes.left - 8
  return (
    <>
      {named.map(([name, lane]) =>
        lane === null ? null : (
          <span key={name} className="lane-name" style={{ ...lane, width }}>
            {name}
          </span>
        ),
      )}
      {scene.channels.map(({ role }, channel) => (
        <button
          key={role}
          type="button"
          className="lane-name"
          style={{ ...lanes.channels[channel], width }}
          aria-expanded={scene.waveform.isOpen[channel]}
          aria-label={`Waveform of ${role}`}
          title="Open or fold the waveform (W: of all channels)"
          onPointerDown={(event) => event.stopPropagation()}
          onClick={() => onOpenChannel(channel)}
        >
          {role}
        </button>
      ))}
    </>
  )
}

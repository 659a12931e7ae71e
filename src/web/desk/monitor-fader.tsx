import { useId } from 'react'
import { signed } from './words.ts'

const LOWEST_MONITOR_DB = -60

/** The monitor gain; where the room was calibrated it is read from the reference, as loudness in the room is. */
export function MonitorFader({
  monitorDb,
  reference = null,
  onMonitor,
}: {
  readonly monitorDb: number
  readonly reference?: { readonly monitorDb: number; readonly splDb: number } | null
  readonly onMonitor: (monitorDb: number) => void
}) {
  const id = useId()
  const figure = reference === null ? signed(monitorDb, 0) : signed(monitorDb - reference.monitorDb)
  const from = reference === null ? 'dB' : `dB re ${reference.splDb} dB SPL`
  return (
    <>
      <label htmlFor={id}>monitor</label>
      <input
        id={id}
        type="range"
        min={LOWEST_MONITOR_DB}
        max={0}
        step={1}
        value={monitorDb}
        aria-valuetext={`${figure} ${from}`}
        onChange={(event) => onMonitor(Number(event.target.value))}
      />
      <output className="figure">
        {figure} <span className="slate">{from}</span>
      </output>
    </>
  )
}

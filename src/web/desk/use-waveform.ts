import { useMemo, useRef, useState } from 'react'
import { gainToDb, LAYOUTS } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { fetchWaveform } from './calls.ts'
import { WaveformTiles } from './waveform-tiles.ts'

/** How the opened channels look over time. */
export type WaveformView = {
  readonly tiles: WaveformTiles
  /** Whether each channel is opened, in order. */
  readonly isOpen: readonly boolean[]
  /** What a lane reaches to above and below, so that the highest sample of all channels is seen. */
  readonly topDbfs: number
  /** Counts what has come since: a drawing of fewer is old. */
  readonly arrivals: number
}

const STEP_DB = 6
const LOWEST_TOP_DBFS = -36

/** Waveforms are fetched once a channel is opened, and then as far as they are seen. */
export function useWaveform(head: TitleHead, titleId: string) {
  const [isOpen, setOpen] = useState<readonly boolean[]>(() => LAYOUTS[head.layout].map(() => false))
  const [arrivals, setArrivals] = useState(0)
  const id = useRef(titleId)
  id.current = titleId
  const tiles = useMemo(
    () =>
      new WaveformTiles(
        head,
        (level, tile) => fetchWaveform(id.current, level, tile),
        () => setArrivals((count) => count + 1),
      ),
    [head],
  )
  const topDbfs = useMemo(() => topOf(head), [head])
  const waveform = useMemo<WaveformView>(
    () => ({ tiles, isOpen, topDbfs, arrivals }),
    [tiles, isOpen, topDbfs, arrivals],
  )
  return {
    waveform,
    toggle: (channel: number) => setOpen((open) => open.map((one, index) => (index === channel ? !one : one))),
    toggleAll: () => setOpen((open) => open.map(() => !open.every((one) => one))),
  }
}

function topOf({ measurements }: TitleHead): number {
  const peakDbfs = Math.max(...measurements.channels.map(({ samplePeakDbfs }) => samplePeakDbfs ?? LOWEST_TOP_DBFS))
  return Math.min(0, Math.max(LOWEST_TOP_DBFS, Math.ceil(peakDbfs / STEP_DB) * STEP_DB))
}

/** The higher of the two ends in dBFS; null where nothing is known or all is silent. */
export function peakDbfsOf(lowest: number, highest: number, fullScale: number): number | null {
  const peak = Math.max(-lowest, highest)
  return lowest > highest || peak <= 0 ? null : gainToDb(peak / fullScale)
}

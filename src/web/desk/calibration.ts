import { useCallback, useState } from 'react'

/** What a sound level meter showed for one loudspeaker, and the monitor gain that the noise was heard at. */
export type LevelRead = { readonly splDb: number; readonly monitorDb: number }

/** Readings of the loudspeakers of this device by their outputs' names, and what -20 dBFS is to be there. */
export type Calibration = { readonly referenceSplDb: number; readonly read: Readonly<Record<string, LevelRead>> }

/** Levels of -20 dBFS in dB SPL, C-weighted, slow. Common practice: small room, larger room, dubbing theatre. */
export const REFERENCES_SPL_DB = [79, 82, 85] as const

/** How far the LFE stands above another loudspeaker in its band. @source ITU-R BS.775-4 */
const LFE_GAIN_DB = 10
/** Common practice. */
const TOLERANCE_DB = 0.5
const KEY = 'plimsoll.calibration'
const NOTHING_READ: Calibration = { referenceSplDb: 79, read: {} }

/** The level of each loudspeaker at a monitor gain of 0 dB, in dB SPL. */
function levelsAtZero({ read }: Calibration): ReadonlyMap<string, number> {
  return new Map(Object.entries(read).map(([name, { splDb, monitorDb }]) => [name, splDb - monitorDb]))
}

function meanOfMains(calibration: Calibration): number | null {
  const mains = [...levelsAtZero(calibration)].filter(([name]) => name !== 'LFE').map(([, level]) => level)
  return mains.length === 0 ? null : mains.reduce((sum, level) => sum + level, 0) / mains.length
}

/** The monitor gain at which -20 dBFS has the reference level, in dB; null where nothing was read. */
export function referenceMonitorDb(calibration: Calibration): number | null {
  const level = meanOfMains(calibration)
  return level === null ? null : calibration.referenceSplDb - level
}

/** How far a loudspeaker stands from where it should be, in dB: the mean of all; the LFE 10 dB above it. Null: not read. */
export function deviationDb(calibration: Calibration, name: string): number | null {
  const [level, mean] = [levelsAtZero(calibration).get(name), meanOfMains(calibration)]
  if (level === undefined || mean === null) return null
  return level - mean - (name === 'LFE' ? LFE_GAIN_DB : 0)
}

export function isWithinTolerance(deviation: number): boolean {
  return Math.abs(deviation) <= TOLERANCE_DB
}

/** The calibration of this browser's loudspeakers. It is kept here and not with a title, as it belongs to a room. */
export function useCalibration() {
  const [calibration, setCalibration] = useState(stored)
  const keep = useCallback((next: Calibration) => {
    setCalibration(next)
    try {
      localStorage.setItem(KEY, JSON.stringify(next))
    } catch {
      // A browser that keeps nothing has it until the page is closed.
    }
  }, [])
  return { calibration, keep, forget: () => keep({ ...calibration, read: {} }) }
}

function stored(): Calibration {
  try {
    return { ...NOTHING_READ, ...JSON.parse(localStorage.getItem(KEY) ?? '{}') }
  } catch {
    return NOTHING_READ
  }
}

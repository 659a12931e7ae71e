import { useState } from 'react'
import { LAYOUTS } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { busLayout } from '../listen/heard.ts'
import { referenceMonitorDb, useCalibration } from './calibration.ts'
import { CalibrationBox } from './calibration-box.tsx'
import { possibleLayouts } from './matching.ts'
import { MonitorFader } from './monitor-fader.tsx'
import { heardMonitorDb, type useTitleListening } from './use-listening.ts'

/** How loud the room is: dim, the monitor gain, and what it is in this room. */
export function Monitor({
  head,
  listening,
}: {
  readonly head: TitleHead
  readonly listening: ReturnType<typeof useTitleListening>
}) {
  const { state, change, playNoise } = listening
  const room = useCalibration()
  const [isCalibrating, setCalibrating] = useState(false)
  const reference = referenceMonitorDb(room.calibration)
  const roles = LAYOUTS[busLayout(possibleLayouts(head))]
  const onMonitor = (monitorDb: number) => change({ monitorDb })
  const calibrate = () => {
    // Only then is it known how many outputs the device has.
    void playNoise(null)
    setCalibrating(true)
  }
  return (
    <>
      <label className="toggle">
        <input
          type="checkbox"
          checked={state.isDimmed}
          onChange={(event) => change({ isDimmed: event.target.checked })}
        />{' '}
        dim
      </label>
      <MonitorFader
        monitorDb={state.monitorDb}
        reference={reference === null ? null : { monitorDb: reference, splDb: room.calibration.referenceSplDb }}
        onMonitor={onMonitor}
      />
      <button type="button" className="plain" onClick={calibrate}>
        Calibrate
      </button>
      {isCalibrating && (
        <CalibrationBox
          kept={room}
          sampleRateHz={head.ground.sampleRateHz}
          outputs={(state.outputs ?? 0) >= roles.length && roles.length > 1 ? roles : ['L', 'R']}
          heardMonitorDb={heardMonitorDb(state)}
          monitorDb={state.monitorDb}
          onMonitor={onMonitor}
          playNoise={playNoise}
          onClose={() => setCalibrating(false)}
        />
      )}
    </>
  )
}

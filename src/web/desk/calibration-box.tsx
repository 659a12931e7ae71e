import { useEffect, useId, useMemo, useState } from 'react'
import { printFigure } from '../../domain/index.ts'
import type { OutputNoise } from '../listen/mixing-desk.ts'
import { LFE_NOISE, MAINS_NOISE, testNoise } from '../listen/test-noise.ts'
import { Box } from './box.tsx'
import {
  type Calibration,
  deviationDb,
  isWithinTolerance,
  REFERENCES_SPL_DB,
  referenceMonitorDb,
  type useCalibration,
} from './calibration.ts'
import { MonitorFader } from './monitor-fader.tsx'
import { signed } from './words.ts'

/** What a sound level meter can show of noise in a room. */
const LOWEST_SPL_DB = 30
const HIGHEST_SPL_DB = 110

type Props = {
  readonly kept: ReturnType<typeof useCalibration>
  readonly sampleRateHz: number
  /** Names of the outputs, in order. */
  readonly outputs: readonly string[]
  /** As it is heard, and as the fader stands. */
  readonly heardMonitorDb: number
  readonly monitorDb: number
  readonly onMonitor: (monitorDb: number) => void
  readonly playNoise: (noise: OutputNoise | null) => Promise<void>
  readonly onClose: () => void
}

/** How loud -20 dBFS is in this room: noise from one loudspeaker after the other, and what a level meter shows of it. */
export function CalibrationBox({ kept, sampleRateHz, outputs, playNoise, onClose, ...monitor }: Props) {
  const { calibration, keep, forget } = kept
  const [sounding, setSounding] = useState<string | null>(null)
  const noises = useMemo(
    () => ({ mains: testNoise(sampleRateHz, MAINS_NOISE), lfe: testNoise(sampleRateHz, LFE_NOISE) }),
    [sampleRateHz],
  )
  const sound = (name: string | null) => {
    const samples = name === 'LFE' ? noises.lfe : noises.mains
    void playNoise(name === null ? null : { output: outputs.indexOf(name), samples })
    setSounding(name)
  }
  const close = () => {
    sound(null)
    onClose()
  }
  const read = (name: string, splDb: number | null) => {
    const { [name]: _, ...others } = calibration.read
    const added = splDb === null ? others : { ...others, [name]: { splDb, monitorDb: monitor.heardMonitorDb } }
    keep({ ...calibration, read: added })
  }
  return (
    <Box title="Calibrate the monitor" onClose={close}>
      <p>
        Set your amplifiers low first. The noise rises slowly from silence, but it does not stop by itself: raised
        levels hurt ears and damage loudspeakers (85 dBA is safe for 8 hours, half as long for every 3 dB more).
      </p>
      <p>
        Put a sound level meter where you sit, C-weighted and slow. Play the noise from one loudspeaker after the other
        and type what the meter shows. It is pink, −20 dBFS, from 500 Hz to 2 kHz; for the LFE from 30 to 120 Hz.
      </p>
      <Reference calibration={calibration} keep={keep} />
      <table className="standing calibration">
        <thead>
          <tr>
            <th scope="col">loudspeaker</th>
            <th scope="col">noise</th>
            <th scope="col">reads</th>
            <th scope="col">against the others</th>
          </tr>
        </thead>
        <tbody>
          {outputs.map((name) => (
            <Loudspeaker
              key={name}
              name={name}
              calibration={calibration}
              isSounding={sounding === name}
              onSound={() => sound(sounding === name ? null : name)}
              onRead={(splDb) => read(name, splDb)}
            />
          ))}
        </tbody>
      </table>
      <p className="calibration-monitor">
        <MonitorFader monitorDb={monitor.monitorDb} onMonitor={monitor.onMonitor} />
      </p>
      <Result calibration={calibration} onMonitor={monitor.onMonitor} />
      <p className="slate small">
        In its band the LFE is to stand 10 dB above a loudspeaker; a C-weighted meter shows about 1 dB less of it than
        an analyser by third octaves. Cinemas set each surround 3 dB lower. What your room and your recipient ask for
        comes before what stands here.{' '}
        {Object.keys(calibration.read).length > 0 && (
          <button type="button" className="plain" onClick={forget}>
            Forget the readings
          </button>
        )}
      </p>
    </Box>
  )
}

/** What -20 dBFS is to be. */
function Reference({
  calibration,
  keep,
}: {
  readonly calibration: Calibration
  readonly keep: (calibration: Calibration) => void
}) {
  return (
    <fieldset className="choice reference">
      <legend className="unseen">Reference level of one loudspeaker</legend>
      <span className="slate">−20 dBFS is to be</span>
      {REFERENCES_SPL_DB.map((splDb) => (
        <button
          key={splDb}
          type="button"
          aria-pressed={splDb === calibration.referenceSplDb}
          onClick={() => keep({ ...calibration, referenceSplDb: splDb })}
        >
          {splDb}
        </button>
      ))}
      <span className="slate">dB SPL: 79 in a small room, 85 in a dubbing theatre</span>
    </fieldset>
  )
}

/** Noise from one loudspeaker, and what was read of it. */
function Loudspeaker({
  name,
  calibration,
  isSounding,
  onSound,
  onRead,
}: {
  readonly name: string
  readonly calibration: Calibration
  readonly isSounding: boolean
  readonly onSound: () => void
  readonly onRead: (splDb: number | null) => void
}) {
  const known = calibration.read[name]
  const [text, setText] = useState(known === undefined ? '' : printFigure(known.splDb))
  const field = useId()
  // Forgotten readings leave empty fields.
  useEffect(() => {
    if (known === undefined) setText('')
  }, [known])
  const typed = Number(text.replace(',', '.'))
  const isWrong = text.trim() !== '' && !(typed >= LOWEST_SPL_DB && typed <= HIGHEST_SPL_DB)
  const settle = () => {
    if (text.trim() === '') onRead(null)
    else if (!isWrong && typed !== known?.splDb) onRead(typed)
  }
  return (
    <tr>
      <th scope="row">{name}</th>
      <td>
        <button
          type="button"
          aria-pressed={isSounding}
          onClick={onSound}
          aria-label={`${isSounding ? 'Stop' : 'Play'} the noise from ${name}`}
        >
          {isSounding ? 'Stop' : 'Play'}
        </button>
      </td>
      <td>
        <input
          id={field}
          type="text"
          inputMode="decimal"
          aria-label={`${name} reads, in dB SPL`}
          aria-invalid={isWrong}
          value={text}
          onChange={(event) => setText(event.target.value)}
          onBlur={settle}
          onKeyDown={(event) => event.key === 'Enter' && settle()}
        />{' '}
        <span className="slate">dB SPL</span>
      </td>
      <td>{isWrong ? `a level from ${LOWEST_SPL_DB} to ${HIGHEST_SPL_DB} dB SPL` : deviation(calibration, name)}</td>
    </tr>
  )
}

function deviation(calibration: Calibration, name: string): string {
  const db = deviationDb(calibration, name)
  if (db === null) return name === 'LFE' ? 'to stand 10 dB above the others' : ''
  if (isWithinTolerance(db)) return `${signed(db)} dB, in line`
  return `${printFigure(Math.abs(db))} dB too ${db > 0 ? 'loud' : 'soft'}: mend it at its amplifier`
}

/** Where the reference stands on the monitor. */
function Result({
  calibration,
  onMonitor,
}: {
  readonly calibration: Calibration
  readonly onMonitor: (monitorDb: number) => void
}) {
  const reference = referenceMonitorDb(calibration)
  if (reference === null) return null
  const { referenceSplDb } = calibration
  if (reference > 0) {
    return (
      <p role="status">
        {referenceSplDb} dB SPL would take a monitor gain of {signed(reference)} dB, and the desk only turns down: raise
        the amplifiers by {printFigure(reference)} dB or more, and read again.
      </p>
    )
  }
  return (
    <p role="status">
      {referenceSplDb} dB SPL stands at a monitor gain of {signed(reference)} dB; the monitor is now shown from there.{' '}
      <button type="button" onClick={() => onMonitor(reference)}>
        Set the monitor there
      </button>
    </p>
  )
}

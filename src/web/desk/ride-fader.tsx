import { HIGHEST_GAIN_DB, LOWEST_GAIN_DB } from './edits.ts'
import { signed } from './words.ts'

type Props = {
  readonly isRiding: boolean
  readonly isPlaying: boolean
  readonly gainDb: number
  readonly note: string | null
  readonly onRide: () => void
  readonly onMove: (gainDb: number) => void
}

/** The fader that a ride is recorded by; while nothing is recorded it follows what was ridden there. */
export function RideFader({ isRiding, isPlaying, gainDb, note, onRide, onMove }: Props) {
  return (
    <fieldset className="choice ride">
      <legend className="unseen">Ride by hand</legend>
      <button
        type="button"
        aria-pressed={isRiding}
        aria-keyshortcuts="R"
        title="Records what the fader does while you listen; the fit works around it"
        onClick={onRide}
      >
        {isRiding ? 'End the ride' : 'Ride by hand'}
      </button>
      <input
        type="range"
        aria-label="Fader"
        min={LOWEST_GAIN_DB}
        max={HIGHEST_GAIN_DB}
        step={0.1}
        value={gainDb}
        disabled={!isPlaying && !isRiding}
        aria-valuetext={`${signed(gainDb)} dB`}
        onChange={(event) => onMove(Number(event.target.value))}
      />
      <output className="figure">
        {signed(gainDb)} <span className="slate">dB</span>
      </output>
      <span className="slate" role="status">
        {isRiding ? 'riding' : note}
      </span>
    </fieldset>
  )
}

import { type Passage, printFigure, type Trim } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { signed } from './words.ts'

const KINDS: Readonly<Record<Passage['kind'], string>> = {
  'too-loud': 'too loud',
  'too-soft': 'too soft',
  'level-step': 'level step',
  'line-up-tone': 'tone left in',
  'thinnest-margin': 'least room',
}

/** The places that the mixer should go back to. */
export function PassageList({
  head: { passages, spec },
  trims,
  chosen,
  label,
  onChoose,
}: {
  readonly head: TitleHead
  readonly trims: readonly Trim[]
  readonly chosen: number | null
  readonly label: (frame: number) => string
  readonly onChoose: (passage: Passage) => void
}) {
  const faults = passages.filter(({ kind }) => kind !== 'thinnest-margin').length
  return (
    <section aria-labelledby="passages" className="passages">
      <h2 id="passages">Passages {faults > 0 && <span className="slate">{faults}</span>}</h2>
      {passages.length === 0 && (
        <p className="slate">
          {spec !== null ? 'No place is pointed at.' : 'They are looked for against a delivery spec.'}
        </p>
      )}
      <ol>
        {passages.map((passage) => {
          const isTrimmed = trims.some(
            ({ startFrame, endFrame }) => startFrame < passage.endFrame && passage.startFrame < endFrame,
          )
          return (
            <li key={passage.rank}>
              <button
                type="button"
                className={passage.rank === chosen ? 'passage chosen' : 'passage'}
                aria-current={passage.rank === chosen}
                onClick={() => onChoose(passage)}
              >
                <span className="rank">{passage.rank}</span>
                <span className="time">{label(passage.startFrame)}</span>
                <span>{KINDS[passage.kind]}</span>
                <span className="figure">
                  {signed(passage.excess)} <span className="slate">{passage.unit === 'dBTP' ? 'dB' : 'LU'}</span>
                </span>
                {isTrimmed && <span className="slate">trimmed</span>}
              </button>
            </li>
          )
        })}
      </ol>
    </section>
  )
}

/** What a passage is, and what its trim would do. */
export function PassageWords({ passage }: { readonly passage: Passage }) {
  const { message, effect, marginalLuPerDb, carriedBy, dialogueShare } = passage
  return (
    <>
      <p>{message}</p>
      <p className="slate small">
        {effect !== null &&
          `Total ${printFigure(effect.programmeLoudnessBeforeLkfs, 2)} → ${printFigure(effect.programmeLoudnessAfterLkfs, 2)} LKFS. `}
        {marginalLuPerDb !== null && `A dB here moves the total by ${printFigure(marginalLuPerDb, 2)} LU. `}
        Carried by{' '}
        {carriedBy
          .filter(({ share }) => share >= 0.05)
          .map(({ role, share }) => `${role} ${Math.round(share * 100)} %`)
          .join(', ')}
        . {dialogueShare !== null && `Dialogue ${Math.round(dialogueShare * 100)} % of the time.`}
      </p>
    </>
  )
}

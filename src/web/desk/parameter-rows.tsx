import { useEffect, useId, useState } from 'react'
import type { Parameter, ParameterTable } from '../../domain/index.ts'

type Value = number | string

type Props = {
  readonly table: ParameterTable
  /** What holds now, also where it is not said here. */
  readonly values: Readonly<Record<string, Value>>
  /** What is said here. */
  readonly own: Readonly<Record<string, Value>>
  /** What a setting goes back to where it is taken away, in words. */
  readonly elsewhere: string
  readonly onSet: (name: string, value: Value | null) => void
  readonly onSettled: () => void
}

/** The settings of a parameter table: a slider and a number with its unit each, or a choice. */
export function ParameterRows({ table, values, own, elsewhere, onSet, onSettled }: Props) {
  return (
    <div className="parameters">
      {Object.entries(table).map(([name, row]) => (
        <ParameterRow
          key={name}
          name={name}
          row={row}
          value={values[name] ?? row.default}
          isOwn={name in own}
          elsewhere={elsewhere}
          onSet={(value) => onSet(name, value)}
          onSettled={onSettled}
        />
      ))}
    </div>
  )
}

function ParameterRow({
  name,
  row,
  value,
  isOwn,
  elsewhere,
  onSet,
  onSettled,
}: Pick<Props, 'elsewhere' | 'onSettled'> & {
  readonly name: string
  readonly row: Parameter
  readonly value: Value
  readonly isOwn: boolean
  readonly onSet: (value: Value | null) => void
}) {
  const field = useId()
  const words = wordsOf(name)
  return (
    <div className={isOwn ? 'parameter own' : 'parameter'} title={row.sentence}>
      <label htmlFor={field}>{words}</label>
      {row.kind === 'choice' ? (
        <select id={field} value={value} onChange={(event) => onSet(event.target.value)}>
          {row.choices.map((choice) => (
            <option key={choice}>{choice}</option>
          ))}
        </select>
      ) : (
        <>
          <input
            id={field}
            type="range"
            min={row.min}
            max={row.max}
            step={stepOf(row.max - row.min)}
            value={value}
            aria-valuetext={`${value} ${row.unit ?? ''}`}
            onChange={(event) => onSet(Number(event.target.value))}
            onPointerUp={onSettled}
            onBlur={onSettled}
          />
          <NumberField
            label={`${words} as a number`}
            value={value as number}
            min={row.min}
            max={row.max}
            onSet={(number) => {
              onSet(number)
              onSettled()
            }}
          />
          <span className="slate">{row.unit}</span>
        </>
      )}
      {isOwn && (
        <button type="button" className="plain" aria-label={`${words}: ${elsewhere}`} onClick={() => onSet(null)}>
          {elsewhere}
        </button>
      )}
    </div>
  )
}

/** A number that is taken when it was typed to its end: by Enter, an arrow, or on leaving the field. */
export function NumberField({
  label,
  value,
  min,
  max,
  onSet,
}: {
  readonly label: string
  readonly value: number
  readonly min: number
  readonly max: number
  readonly onSet: (value: number) => void
}) {
  const [typed, setTyped] = useState(String(value))
  useEffect(() => setTyped(String(value)), [value])
  const take = (text: string) => {
    const number = Number(text)
    if (text.trim() === '' || !Number.isFinite(number)) return setTyped(String(value))
    const bounded = Math.min(max, Math.max(min, number))
    setTyped(String(bounded))
    if (bounded !== value) onSet(bounded)
  }
  return (
    <input
      type="text"
      inputMode="decimal"
      aria-label={label}
      value={typed}
      onChange={(event) => setTyped(event.target.value)}
      onBlur={() => take(typed)}
      onKeyDown={(event) => {
        if (event.key === 'Enter') take(typed)
        const turn = event.key === 'ArrowUp' ? 1 : event.key === 'ArrowDown' ? -1 : 0
        if (turn === 0) return
        event.preventDefault()
        const step = stepOf(max - min)
        take(String(Math.round((value + turn * step) / step) * step).slice(0, 8))
      }}
    />
  )
}

/** A name of the table as words, without its unit: "surroundHighCutHz" is "surround high cut". */
function wordsOf(name: string): string {
  return name
    .replace(/(Hz|Db|Ms|Seconds)$/, '')
    .replaceAll(/[A-Z]/g, (letter) => ` ${letter.toLowerCase()}`)
    .replace('lfe', 'LFE')
}

const STEPS = 100

/** A round step of about a hundredth of a range. */
function stepOf(range: number): number {
  const rough = range / STEPS
  const decade = 10 ** Math.floor(Math.log10(rough))
  return ([1, 2, 5, 10].find((times) => times * decade >= rough * 0.7) as number) * decade
}

import { useEffect, useRef, useState } from 'react'
import { isTimecodeProblem, printInstant, readInstant, type SheetGround } from '../../domain/index.ts'

type Props = {
  readonly ground: SheetGround
  readonly frame: number
  readonly isTyping: boolean
  readonly onTyping: (isTyping: boolean) => void
  readonly onGo: (frame: number) => void
}

/** Where it plays; pressed, a place can be typed as it is written everywhere else. */
export function TimeField({ ground, frame, isTyping, onTyping, onGo }: Props) {
  const { clock, sampleRateHz, frameCount } = ground
  const shown = printInstant(clock, Math.min(frame, frameCount), sampleRateHz)
  const [problem, setProblem] = useState<string | null>(null)
  const field = useRef<HTMLInputElement>(null)
  useEffect(() => {
    if (isTyping) field.current?.select()
    setProblem(null)
  }, [isTyping])
  if (!isTyping) {
    return (
      <button
        type="button"
        className="plain time"
        aria-keyshortcuts="A"
        title="Go to a place that you type"
        onClick={() => onTyping(true)}
      >
        {shown}
      </button>
    )
  }
  const go = (text: string) => {
    const read = readInstant(clock, text, sampleRateHz)
    if (isTimecodeProblem(read)) return setProblem(`${read.found}; write ${read.wanted}`)
    if (read < 0 || read >= frameCount) return setProblem('that is not in this programme')
    onTyping(false)
    return onGo(read)
  }
  return (
    <form
      className="go"
      onSubmit={(event) => {
        event.preventDefault()
        go(field.current!.value)
      }}
    >
      <input
        ref={field}
        className="time"
        aria-label="Go to"
        aria-invalid={problem !== null}
        defaultValue={shown}
        onBlur={() => problem === null && onTyping(false)}
        onKeyDown={(event) => event.key === 'Escape' && onTyping(false)}
      />
      {problem !== null && (
        <span className="refusal" role="alert">
          {problem}
        </span>
      )}
    </form>
  )
}

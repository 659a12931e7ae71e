import { useCallback, useEffect, useRef, useState } from 'react'
import { fetchTitle, type OpenedTitle, orderMeasurement } from './calls.ts'
import { Mark } from './mark.tsx'
import { TitleScreen } from './title-screen.tsx'
import { WorkBar } from './work-bar.tsx'
import { type Works, workOn } from './works.ts'

/**
 * Opens a title: measures it first where that was not done, and says what is going on. Where its screen decides what
 * needs another measurement, that comes to the screen as it stands: nothing chosen or decided meanwhile is lost.
 */
export function TitleLoader({ titleId, works }: { readonly titleId: string; readonly works: Works }) {
  const [opened, setOpened] = useState<OpenedTitle | null>(null)
  const [problem, setProblem] = useState<string | null>(null)
  /** A new object asks anew; a bare file is that of its sheet once something was decided. */
  const [asked, setAsked] = useState({ id: titleId })
  const askAgain = useCallback((id: string) => setAsked({ id }), [])
  const work = workOn(works, 'measure', asked.id)
  // Work that takes a moment is over before it was seen to begin: its last word is another all the same.
  const lastWord = work === null || work.state === 'done' ? work : undefined
  const answered = useRef<object | null>(null)
  useEffect(() => {
    let isHere = true
    // Work that goes on will say its last word; what became of earlier work is no answer to what is asked now.
    if (lastWord === undefined && answered.current === asked) return undefined
    answered.current = asked
    fetchTitle(asked.id).then(
      (title) => {
        if (!isHere) return
        if (title === null) void orderMeasurement(asked.id).catch((error: Error) => setProblem(error.message))
        else setOpened(title)
      },
      (error: Error) => isHere && setProblem(error.message),
    )
    return () => {
      isHere = false
    }
  }, [asked, lastWord])

  if (opened !== null) {
    return <TitleScreen opened={opened} works={works} onOutdated={askAgain} />
  }
  const refusal = problem ?? work?.refusal?.message ?? null
  return (
    <main className="loading">
      <header className="head">
        <a href="#shelf" aria-label="Back to the shelf">
          <Mark />
        </a>
        <nav aria-label="Where you are">
          <a href="#shelf">Shelf</a> <span className="slate">/</span> <h1>{nameOf(titleId)}</h1>
        </nav>
      </header>
      {refusal !== null ? (
        <p className="refusal" role="alert">
          {refusal}
        </p>
      ) : work?.state === 'stopped' ? (
        <p>
          Stopped.{' '}
          <button type="button" onClick={() => void orderMeasurement(titleId)}>
            Measure it after all
          </button>
        </p>
      ) : (
        <section>
          <WorkBar work={work} />
          <p className="slate">
            The title is measured once: loudness, true peak, where there is speech, and the places to go back to. It
            goes on while you are at the shelf.
          </p>
        </section>
      )}
    </main>
  )
}

/** What a title is called as long as its sheet was not read. */
function nameOf(titleId: string): string {
  return titleId.replace(/([.]sheet)?[.][^./]+$/, '')
}

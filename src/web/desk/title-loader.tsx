import { useEffect, useState } from 'react'
import { fetchTitle, type OpenedTitle, orderMeasurement } from './calls.ts'
import { Mark } from './mark.tsx'
import { TitleScreen } from './title-screen.tsx'
import { WorkBar } from './work-bar.tsx'
import { type Works, workOn } from './works.ts'

/** Opens a title: measures it first where that was not done, and says what is going on. */
export function TitleLoader({ titleId, works }: { readonly titleId: string; readonly works: Works }) {
  const [opened, setOpened] = useState<OpenedTitle | null>(null)
  const [problem, setProblem] = useState<string | null>(null)
  const work = workOn(works, 'measure', titleId)
  // Work that takes a moment is over before it was seen to begin: its last word is another all the same.
  const lastWord = work === null || work.state === 'done' ? work : undefined
  useEffect(() => {
    let isHere = true
    if (lastWord === undefined) return undefined
    fetchTitle(titleId).then(
      (title) => {
        if (!isHere) return
        if (title === null) void orderMeasurement(titleId).catch((error: Error) => setProblem(error.message))
        else setOpened(title)
      },
      (error: Error) => isHere && setProblem(error.message),
    )
    return () => {
      isHere = false
    }
  }, [titleId, lastWord])

  if (opened !== null) {
    return <TitleScreen opened={opened} works={works} />
  }
  const refusal = problem ?? work?.refusal?.message ?? null
  return (
    <main className="loading">
      <header className="head">
        <a href="#shelf" aria-label="Back to the shelf">
          <Mark />
        </a>
        <h1>{titleId}</h1>
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
        <WorkBar work={work} />
      )}
    </main>
  )
}

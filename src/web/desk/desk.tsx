import { useEffect, useState } from 'react'
import { listenToWork } from './calls.ts'
import { ShelfScreen } from './shelf-screen.tsx'
import { TitleLoader } from './title-loader.tsx'
import type { Works } from './works.ts'

/** The page: the shelf, or the title that the address names. */
export function Desk() {
  const titleId = useTitleId()
  const { works, isOpen } = useWorks()
  return (
    <>
      {!isOpen && (
        <p className="lost" role="alert">
          The desk no longer answers. Start it again with “plimsoll desk” and open the address that it prints; what was
          saved is on disk.
        </p>
      )}
      {titleId === null ? <ShelfScreen works={works} /> : <TitleLoader key={titleId} titleId={titleId} works={works} />}
    </>
  )
}

function titleIdInAddress(): string | null {
  const found = /^#title\/(.+)$/.exec(location.hash)
  return found === null ? null : decodeURIComponent(found[1]!)
}

function useTitleId(): string | null {
  const [titleId, setTitleId] = useState(titleIdInAddress)
  useEffect(() => {
    const follow = () => setTitleId(titleIdInAddress())
    window.addEventListener('hashchange', follow)
    return () => window.removeEventListener('hashchange', follow)
  }, [])
  return titleId
}

function useWorks(): { readonly works: Works; readonly isOpen: boolean } {
  const [works, setWorks] = useState<Works>(new Map())
  const [isOpen, setOpen] = useState(true)
  useEffect(
    () =>
      listenToWork(
        (message) => setWorks((before) => new Map(before).set(`${message.kind} ${message.titleId}`, message)),
        setOpen,
      ),
    [],
  )
  return { works, isOpen }
}

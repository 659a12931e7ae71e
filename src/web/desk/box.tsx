import { useEffect, useRef } from 'react'

/** A box over the page, closed by Escape. */
export function Box({
  title,
  onClose,
  children,
}: {
  readonly title: string
  readonly onClose: () => void
  readonly children: React.ReactNode
}) {
  const box = useRef<HTMLDialogElement>(null)
  useEffect(() => {
    box.current!.showModal()
  }, [])
  return (
    <dialog ref={box} aria-label={title} onClose={onClose}>
      <div className="box-head">
        <h2>{title}</h2>
        <button type="button" className="plain" onClick={() => box.current!.close()}>
          Close
        </button>
      </div>
      {children}
    </dialog>
  )
}

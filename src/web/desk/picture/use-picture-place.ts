import { useCallback, useState } from 'react'

/** Where the picture is: at the foot of the left column, over a corner of the timeline, or folded away. */
export type PictureDock = 'column' | 'over' | 'folded'

export type PicturePlace = {
  readonly dock: PictureDock
  readonly put: (dock: PictureDock) => void
  /** Folds it, or shows it where it was. */
  readonly fold: () => void
}

const KEY = 'plimsoll.picture'

/** Where the picture is, as this browser had it last. */
export function usePicturePlace(): PicturePlace {
  const [{ dock, before }, setPlace] = useState(() => ({ dock: stored(), before: 'column' as PictureDock }))
  const put = useCallback((next: PictureDock) => {
    setPlace((now) => ({ dock: next, before: now.dock === 'folded' ? now.before : now.dock }))
    try {
      localStorage.setItem(KEY, next)
    } catch {
      // A browser that keeps nothing has it until the page is closed.
    }
  }, [])
  return { dock, put, fold: () => put(dock === 'folded' ? before : 'folded') }
}

function stored(): PictureDock {
  try {
    const kept = localStorage.getItem(KEY)
    return kept === 'over' || kept === 'folded' ? kept : 'column'
  } catch {
    return 'column'
  }
}

import { useCallback, useEffect, useMemo, useReducer, useRef, useState } from 'react'
import { type PlacedSheet, placeSheet, type Sheet, type SheetGround } from '../../domain/index.ts'
import { readSheetFile, sheetJson } from '../../protocol/index.ts'
import { fetchSheet, type OpenedTitle, saveSheet } from './calls.ts'
import { type Decision, decide, opened as openedDecisions } from './decisions.ts'
import { inOrder } from './scene-edits.ts'
import { titleAddress } from './works.ts'

/** Whether decisions are on disk. */
export type Saving = { readonly state: 'saved' | 'saving' | 'not-saved'; readonly problem: string | null }

const SAVE_AFTER_MS = 400
const LOOK_AGAIN_MS = 1500

/** The decisions of an opened title: undone and redone at will, saved to its sheet as they are made. */
export function useTitle({ head }: OpenedTitle) {
  const [decisions, dispatch] = useReducer(decide, head.sheetText, (text) =>
    openedDecisions(inOrder(sheetOf(text), head.ground)),
  )
  const { placed, contradiction } = useMemo(
    () => placedOf(decisions.sheet, head.ground),
    [decisions.sheet, head.ground],
  )
  const [refused, setRefused] = useState<string | null>(null)
  const { saving, titleId, saveNow, written } = useSaving(head, decisions.sheet, dispatch)
  const change = useCallback(
    (sheet: Sheet, moving?: string) => {
      // What no delivery could obey is not decided.
      const problem = placedOf(sheet, head.ground).contradiction
      setRefused(problem === null ? null : `Not decided: ${problem}`)
      if (problem === null) dispatch({ kind: 'change', sheet, ...(moving !== undefined && { moving }) })
    },
    [head.ground],
  )
  const measured = useMemo(() => sheetOf(head.sheetText), [head.sheetText])
  const isOutdated = useMemo(() => measuredBy(measured) !== measuredBy(written), [measured, written])
  return {
    decisions,
    dispatch: dispatch as (decision: Decision) => void,
    change,
    placed,
    /** Why the last change was not taken, or what the sheet on disk contradicts itself in; null: nothing is wrong. */
    problem: contradiction === null ? refused : `Nothing of the sheet holds here: ${contradiction}`,
    saving,
    titleId,
    saveNow,
    /** What the sheet on disk asks for was not measured yet, e.g. another spec. */
    isOutdated,
    /** Changes with all that a measurement reads of the sheet on disk. */
    measuredBy: measuredBy(written),
  }
}

function sheetOf(text: string): Sheet {
  const reading = readSheetFile(JSON.parse(text))
  if (reading.sheet === null) throw new Error('the desk sent a sheet that is none')
  return reading.sheet
}

const NOWHERE: PlacedSheet = { pictureFrame: 0, segments: [], trims: [], gains: [], locks: [], limits: [], scenes: [] }

/** Where the sheet's stretches lie; while it contradicts itself, as an editor may write it, they lie nowhere. */
function placedOf(
  sheet: Sheet,
  ground: SheetGround,
): { readonly placed: PlacedSheet; readonly contradiction: string | null } {
  const placed = placeSheet(sheet, ground)
  if ('trims' in placed) return { placed, contradiction: null }
  const words = placed.map(({ path, found, needed }) => `${path} is ${found}; it needs ${needed}.`)
  return { placed: NOWHERE, contradiction: words.join(' ') }
}

/** Saves the sheet a moment after its last change. The title of a bare file becomes that of its sheet by the first save. */
function useSaving(head: OpenedTitle['head'], sheet: Sheet, dispatch: (decision: Decision) => void) {
  const [saving, setSaving] = useState<Saving>({ state: 'saved', problem: null })
  const [titleId, setTitleId] = useState(head.id)
  const [written, setWritten] = useState(sheet)
  const onDisk = useRef({ id: head.id, tag: head.sheetTag, text: sheetJson(sheet) })
  /** What the disk holds once all saving under way is done. */
  const promised = useRef(onDisk.current.text)
  const queue = useRef<Promise<void>>(Promise.resolve())
  const isSettled = useCallback(
    (asked: Sheet) => sheetJson(asked) === promised.current && promised.current === onDisk.current.text,
    [],
  )
  const saveNow = useCallback((asked: Sheet): Promise<void> => {
    const text = sheetJson(asked)
    promised.current = text
    queue.current = queue.current.then(async () => {
      if (text === onDisk.current.text) return setSaving({ state: 'saved', problem: null })
      setSaving({ state: 'saving', problem: null })
      try {
        const { id, tag } = await saveSheet(onDisk.current.id, text, onDisk.current.tag)
        // Whoever has gone back to the shelf meanwhile stays there.
        if (location.hash === titleAddress(onDisk.current.id)) history.replaceState(null, '', titleAddress(id))
        onDisk.current = { id, tag, text }
        setTitleId(id)
        setWritten(asked)
        setSaving({ state: 'saved', problem: null })
      } catch (error) {
        if (promised.current === text) promised.current = onDisk.current.text
        setSaving({ state: 'not-saved', problem: (error as Error).message })
      }
    })
    return queue.current
  }, [])
  useEffect(() => {
    if (sheetJson(sheet) === promised.current) {
      // What was changed and changed back needs no saving.
      if (isSettled(sheet))
        setSaving((before) => (before.state === 'saved' ? before : { state: 'saved', problem: null }))
      return undefined
    }
    setSaving({ state: 'saving', problem: null })
    const timer = setTimeout(() => void saveNow(sheet), SAVE_AFTER_MS)
    return () => clearTimeout(timer)
  }, [sheet, saveNow, isSettled])
  useOthersChanges(head, onDisk, sheet, isSettled, (id, decided) => {
    promised.current = onDisk.current.text
    setTitleId(id)
    setWritten(decided)
    dispatch({ kind: 'change', sheet: decided })
  })
  useNothingLost(sheet, saveNow, isSettled)
  return { saving, titleId, saveNow, written }
}

/**
 * Takes over what another page or an editor saved, as a step that can be taken back. While something of one's own is not
 * saved nothing is taken over: saving it says that there are two.
 */
function useOthersChanges(
  head: OpenedTitle['head'],
  onDisk: React.RefObject<{ id: string; tag: string; text: string }>,
  sheet: Sheet,
  isSettled: (sheet: Sheet) => boolean,
  takeOver: (id: string, sheet: Sheet) => void,
): void {
  const latest = useRef({ sheet, takeOver })
  latest.current = { sheet, takeOver }
  useEffect(() => {
    const isQuiet = () => isSettled(latest.current.sheet)
    const look = async () => {
      if (!isQuiet()) return
      const { id: asked, tag: known } = onDisk.current
      const found = await fetchSheet(asked).catch(() => null)
      if (found === null || found.tag === known || onDisk.current.tag !== known || !isQuiet()) return
      const theirs = readSheet(found.text)
      // An editor may be in the middle of it.
      if (theirs === null) return
      // Nothing lies where it lay.
      if (groundOf(latest.current.sheet) !== groundOf(theirs)) return location.reload()
      const decided = inOrder(theirs, head.ground)
      onDisk.current = { id: found.id, tag: found.tag, text: sheetJson(decided) }
      latest.current.takeOver(found.id, decided)
    }
    const timer = setInterval(() => void look(), LOOK_AGAIN_MS)
    return () => clearInterval(timer)
  }, [head, onDisk, isSettled])
}

function readSheet(text: string): Sheet | null {
  try {
    return readSheetFile(JSON.parse(text)).sheet
  } catch {
    return null
  }
}

/** All that places on the timeline depend on. */
function groundOf({ sources, segments, timecode }: Sheet): string {
  return JSON.stringify([sources, segments, timecode])
}

/** All that a measurement reads of a sheet. */
function measuredBy(sheet: Sheet): string {
  const { sources, segments, spec, timecode } = JSON.parse(sheetJson(sheet)) as Record<string, unknown>
  return JSON.stringify([sources, segments, spec, timecode])
}

/** What was changed a moment before the title is left is saved all the same; a page that is closed on it asks first. */
function useNothingLost(
  sheet: Sheet,
  saveNow: (sheet: Sheet) => Promise<void>,
  isOnDisk: (sheet: Sheet) => boolean,
): void {
  const latest = useRef({ sheet, isOnDisk })
  latest.current = { sheet, isOnDisk }
  useEffect(() => {
    const ask = (event: BeforeUnloadEvent) => {
      if (!latest.current.isOnDisk(latest.current.sheet)) event.preventDefault()
    }
    window.addEventListener('beforeunload', ask)
    return () => {
      window.removeEventListener('beforeunload', ask)
      void saveNow(latest.current.sheet)
    }
  }, [saveNow])
}

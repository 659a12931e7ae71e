import { useCallback, useEffect, useMemo, useRef, useState } from 'react'
import { type Sheet, type UpmixPlan, upmixOfSheet } from '../../domain/index.ts'
import { type ListeningPlan, sheetJson, type TitleHead } from '../../protocol/index.ts'
import type { Wishes } from '../listen/live-render.ts'
import type { Asked } from '../listen/mixing-desk.ts'
import { fetchPlan } from './calls.ts'
import type { Master } from './player.ts'
import type { useTitle } from './use-title.ts'

/** A plan, the sheet and the trims that it was made for, and its number. */
type Made = {
  readonly plan: ListeningPlan
  readonly made: string
  readonly trimsDb: Float64Array | null
  readonly number: number
}

/**
 * How long what is being dragged rests before the fit is found anew, at least and at most: as long as finding it took the
 * last time. Until then what it changes is heard on top of the last one. Any other change begins at once.
 */
const LEAST_REST_MS = 100
const MOST_REST_MS = 700

/**
 * The fit of a title as its sheet stands, found when it is first listened to and again after each change of the sheet.
 * The upmix follows the sheet at once.
 * @param trimsDb the gains that are heard now, which differ from what was decided while they are ridden
 */
export function useFit(
  head: TitleHead,
  title: ReturnType<typeof useTitle>,
  trimsDb: Float64Array | null,
  decidedDb: Float64Array | null,
) {
  const { decisions, placed, titleId } = title
  const { sheet } = decisions
  const [isWanted, setWanted] = useState(false)
  const [made, setMade] = useState<Made | null>(null)
  /** The sheet whose fit was being found when that was stopped. */
  const [stopped, setStopped] = useState<string | null>(null)
  const [problem, setProblem] = useState<string | null>(null)
  const latest = useRef({ decidedDb, titleId })
  latest.current = { decidedDb, titleId }
  const text = useMemo(() => fitText(sheet), [sheet])
  const isMoving = decisions.moving !== null
  /** What changes meanwhile is found behind it, or instead of it where that takes long. */
  const [isFinding, setFinding] = useState(false)
  const failed = useRef<string | null>(null)
  const calls = useRef(0)
  /** The sheet whose fit is being found. */
  const asked = useRef<string | null>(null)
  const isStale = isWanted && made?.made !== text && stopped !== text
  const count = useRef(0)
  const tookMs = useRef(0)
  const isHere = useIsHere()
  useEffect(() => {
    if (!isStale || failed.current === text || asked.current === text) return undefined
    const find = async () => {
      const call = ++calls.current
      asked.current = text
      setFinding(true)
      const { decidedDb: points, titleId: id } = latest.current
      try {
        const begun = performance.now()
        const plan = await fetchPlan(id, text)
        tookMs.current = performance.now() - begun
        if (!isHere.current || call !== calls.current) return
        if (plan === null) return setStopped(text)
        count.current += 1
        setMade({ plan, made: text, trimsDb: points, number: count.current })
        setProblem(null)
      } catch (error) {
        if (call === calls.current) failed.current = text
        if (isHere.current) setProblem((error as Error).message)
      } finally {
        if (isHere.current && call === calls.current) {
          asked.current = null
          setFinding(false)
        }
      }
    }
    const resting = isMoving ? Math.min(MOST_REST_MS, Math.max(LEAST_REST_MS, tookMs.current)) : 0
    const rest = isFinding ? MOST_REST_MS : count.current === 0 ? 0 : resting
    const timer = setTimeout(() => void find(), rest)
    return () => clearTimeout(timer)
  }, [isStale, isFinding, isMoving, text, isHere])
  const upmix = useMemo(() => upmixOfSheet(sheet, placed.scenes, head.ground), [sheet, placed.scenes, head.ground])
  const want = useCallback(() => {
    setWanted(true)
    setStopped(null)
    failed.current = null
  }, [])
  const wishes = useMemo(() => wishesOf(made, upmix), [made, upmix])
  const pending = useMemo(() => pendingOf(made, trimsDb), [made, trimsDb])
  const isOfThis = made?.made === text
  return { plan: made?.plan ?? null, isOfThis, wishes, master: masterOf(made), pending, isStale, problem, want }
}

/** False once the screen is left. */
function useIsHere() {
  const isHere = useRef(true)
  useEffect(() => {
    isHere.current = true
    return () => {
      isHere.current = false
    }
  }, [])
  return isHere
}

/** Of a sheet all that a fit depends on. */
function fitText(sheet: Sheet): string {
  return sheetJson({ ...sheet, waivers: [], deliverables: [] })
}

function wishesOf(made: Made | null, upmix: UpmixPlan): Wishes {
  if (made === null) return { upmix: null, gain: null, planNumber: 0 }
  const { plan, number } = made
  const reading = plan.upmix?.reading
  return {
    upmix: reading === undefined ? null : { ...upmix, reading },
    gain: plan.gain,
    planNumber: number,
  }
}

function masterOf(made: Made | null): Master | null {
  const upmix = made?.plan.upmix ?? null
  return made === null || upmix === null || !upmix.isMended ? null : { planNumber: made.number, sound: upmix.sound }
}

/** What the trims have changed since the plan was made. */
function pendingOf(made: Made | null, trimsDb: Float64Array | null): Asked['pending'] {
  if (made === null || trimsDb === made.trimsDb) return null
  const count = (trimsDb ?? made.trimsDb)!.length
  const pointsDb = Float64Array.from({ length: count }, (_, hop) => (trimsDb?.[hop] ?? 0) - (made.trimsDb?.[hop] ?? 0))
  return pointsDb.every((db) => db === 0) ? null : { planNumber: made.number, pointsDb }
}

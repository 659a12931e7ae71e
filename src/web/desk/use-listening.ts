import { useCallback, useEffect, useRef, useState } from 'react'
import { dbToGain, type FrameRange, LAYOUTS, type Role } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { type Listening, matrixOf, type Speakers } from '../listen/heard.ts'
import type { Asked } from '../listen/mixing-desk.ts'
import { Player } from './player.ts'

/** Low enough to begin with, whatever stands behind the device. */
const FIRST_MONITOR_DB = -30
const DIM_DB = -20

export type ListeningState = {
  readonly isPlaying: boolean
  /** Where it plays or would begin, in frames. */
  readonly frame: number
  readonly listening: Listening
  readonly speakers: Speakers
  readonly muted: ReadonlySet<Role>
  readonly monitorDb: number
  readonly isDimmed: boolean
  readonly loops: boolean
  /** Outputs of the device that are used; null until something was played. */
  readonly outputs: number | null
  readonly problem: string | null
}

/** Listening to a title: what is heard, through what, how loud, and where. */
export function useListening(head: TitleHead, pointsDb: Float64Array | null, stretch: FrameRange | null) {
  const [state, setState] = useState<ListeningState>({
    isPlaying: false,
    frame: 0,
    listening: 'trimmed',
    speakers: 'own',
    muted: new Set(),
    monitorDb: FIRST_MONITOR_DB,
    isDimmed: false,
    loops: false,
    outputs: null,
    problem: null,
  })
  const player = useRef<Player | null>(null)
  const latest = useRef({ state, stretch, pointsDb })
  latest.current = { state, stretch, pointsDb }
  const change = useCallback((more: Partial<ListeningState>) => setState((before) => ({ ...before, ...more })), [])
  const { listening, speakers, muted, monitorDb, isDimmed, outputs } = state
  useEffect(() => {
    if (outputs !== null)
      player.current?.ask(askedOf(head, { listening, speakers, muted, monitorDb, isDimmed }, outputs, pointsDb))
  }, [head, listening, speakers, muted, monitorDb, isDimmed, outputs, pointsDb])
  useEffect(() => () => player.current?.close(), [])

  const seek = useCallback(
    (frame: number) => {
      player.current?.seek(frame)
      change({ frame })
    },
    [change],
  )
  const onFrame = useCallback(
    (frame: number) => {
      const { state: now, stretch: inside } = latest.current
      const isOver = frame >= head.ground.frameCount
      if (now.loops && inside !== null && now.isPlaying && frame >= inside.endFrame) return seek(inside.startFrame)
      if (isOver) player.current?.pause()
      return change(isOver ? { frame, isPlaying: false } : { frame })
    },
    [change, head, seek],
  )
  const toggle = useCallback(async () => {
    const { state: now, pointsDb: points } = latest.current
    if (now.isPlaying) {
      player.current?.pause()
      return change({ isPlaying: false })
    }
    try {
      if (player.current === null) {
        const asked = (count: number) => askedOf(head, now, count, points)
        const opened = await Player.open(head, asked, onFrame, (error) => change({ problem: error.message }))
        player.current = opened.player
        change({ outputs: opened.outputs })
      }
      player.current.seek(now.frame >= head.ground.frameCount ? 0 : now.frame)
      await player.current.play()
      return change({ isPlaying: true, problem: null })
    } catch (error) {
      return change({ problem: `This browser cannot play here: ${(error as Error).message}` })
    }
  }, [change, head, onFrame])
  return { state, change, toggle, seek, playing: outputs === null ? null : state.frame }
}

function askedOf(
  head: TitleHead,
  state: Pick<ListeningState, 'listening' | 'speakers' | 'muted' | 'monitorDb' | 'isDimmed'>,
  outputs: number,
  pointsDb: Float64Array | null,
): Asked {
  const { listening, speakers, muted, monitorDb, isDimmed } = state
  return {
    listening,
    matrix: matrixOf(LAYOUTS[head.layout], speakers, outputs, (role) => !muted.has(role)),
    monitorGain: dbToGain(monitorDb + (isDimmed ? DIM_DB : 0)),
    pointsDb,
  }
}

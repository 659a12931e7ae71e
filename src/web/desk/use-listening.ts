import { useCallback, useEffect, useRef, useState } from 'react'
import { dbToGain, type FrameRange, type Role } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import type { SignalLayouts } from '../listen/chunk.ts'
import { busLayout, type Listening, matrixOf, type Speakers, sharesOf } from '../listen/heard.ts'
import type { Asked } from '../listen/mixing-desk.ts'
import { Player, possibleLayouts } from './player.ts'
import { useFit } from './use-fit.ts'
import type { useTitle } from './use-title.ts'

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
  /** Blocks of sound that came too late since the last start. */
  readonly missedBlocks: number
  readonly problem: string | null
}

type Fit = ReturnType<typeof useFit>

/** What is listened to, on which title, and by which decisions. */
type ListeningGround = {
  readonly head: TitleHead
  readonly titleId: string
  readonly fit: Fit
  readonly trimsDb: Float64Array | null
  /** Looped, where looping is asked for. */
  readonly stretch: FrameRange | null
}

/** Listening to a title as it is decided, with the fit that it is heard by. */
export function useTitleListening(
  head: TitleHead,
  title: ReturnType<typeof useTitle>,
  trimsDb: Float64Array | null,
  stretch: FrameRange | null,
) {
  const { titleId } = title
  const fit = useFit(head, title, trimsDb)
  return { ...useListening({ head, titleId, fit, trimsDb, stretch }), fit, titleId }
}

/** Listening to a title: what is heard, through what, how loud, and where. */
function useListening(ground: ListeningGround) {
  const { head, fit, trimsDb } = ground
  const [state, setState] = useState<ListeningState>({
    isPlaying: false,
    frame: 0,
    listening: 'source',
    speakers: 'own',
    muted: new Set(),
    monitorDb: FIRST_MONITOR_DB,
    isDimmed: false,
    loops: false,
    outputs: null,
    missedBlocks: 0,
    problem: null,
  })
  const player = useRef<Player | null>(null)
  const latest = useRef({ state, ground })
  latest.current = { state, ground }
  const change = useCallback((more: Partial<ListeningState>) => setState((before) => ({ ...before, ...more })), [])
  const { listening, speakers, muted, monitorDb, isDimmed, outputs } = state
  const { plan, pending, wishes, master, want } = fit
  useEffect(() => {
    if (outputs === null) return
    const heard = { listening, speakers, muted, monitorDb, isDimmed }
    player.current?.ask(askedOf(head, heard, outputs, { plan, pending, trimsDb }))
  }, [head, listening, speakers, muted, monitorDb, isDimmed, outputs, plan, pending, trimsDb])
  useEffect(() => {
    if (outputs !== null) player.current?.wish(wishes, master)
  }, [outputs, wishes, master])
  useEffect(() => {
    if (needsFit(head, listening)) want()
  }, [head, listening, want])
  useEffect(() => () => player.current?.close(), [])

  const seek = useCallback(
    (frame: number) => {
      player.current?.seek(frame)
      change({ frame })
    },
    [change],
  )
  const onFrame = useCallback(
    ({ frame, missedBlocks }: { readonly frame: number; readonly missedBlocks: number }) => {
      const { state: now, ground: on } = latest.current
      const isOver = frame >= on.head.ground.frameCount
      const { stretch } = on
      if (now.loops && stretch !== null && now.isPlaying && frame >= stretch.endFrame) return seek(stretch.startFrame)
      if (isOver) player.current?.pause()
      return change(isOver ? { frame, missedBlocks, isPlaying: false } : { frame, missedBlocks })
    },
    [change, seek],
  )
  const play = useCallback(async () => {
    const { state: now, ground: on } = latest.current
    try {
      if (player.current === null) {
        const asked = (count: number) => askedOf(on.head, now, count, { ...on.fit, trimsDb: on.trimsDb })
        const onLost = (error: Error) => change({ problem: error.message })
        const opened = await Player.open(on.head, on.titleId, asked, { onFrame, onLost })
        player.current = opened.player
        change({ outputs: opened.outputs })
      }
      player.current.seek(now.frame >= on.head.ground.frameCount ? 0 : now.frame)
      await player.current.play()
      return change({ isPlaying: true, problem: null })
    } catch (error) {
      return change({ problem: `This browser cannot play here: ${(error as Error).message}` })
    }
  }, [change, onFrame])
  const pause = useCallback(() => {
    player.current?.pause()
    change({ isPlaying: false })
  }, [change])
  const toggle = useCallback(() => (latest.current.state.isPlaying ? pause() : void play()), [pause, play])
  return { state, change, toggle, seek, playing: outputs === null ? null : state.frame }
}

/** Whether something can only be heard once the fit was found. */
function needsFit(head: TitleHead, listening: Listening): boolean {
  if (listening === 'upmix' || listening === 'fitted') return true
  return listening === 'difference' && canBeFitted(head)
}

/** Whether a title can be fitted: it has a spec, and more than one channel. */
export function canBeFitted({ layout, spec }: Pick<TitleHead, 'layout' | 'spec'>): boolean {
  return spec !== null && layout !== 'mono'
}

function askedOf(
  head: TitleHead,
  state: Pick<ListeningState, 'listening' | 'speakers' | 'muted' | 'monitorDb' | 'isDimmed'>,
  outputs: number,
  { plan, pending, trimsDb }: Pick<Fit, 'plan' | 'pending'> & { readonly trimsDb: Float64Array | null },
): Asked {
  const { listening, speakers, muted, monitorDb, isDimmed } = state
  const possible = possibleLayouts(head)
  const { source, upmix, fitted } = possible
  const layouts: SignalLayouts = {
    ...(source && { source }),
    ...(plan?.upmix && upmix && { upmix }),
    ...(plan?.gain && fitted && { fitted }),
  }
  return {
    shares: sharesOf(listening, layouts),
    matrix: matrixOf(busLayout(possible), speakers, outputs, (role) => !muted.has(role)),
    isSmall: speakers === 'small',
    monitorGain: dbToGain(monitorDb + (isDimmed ? DIM_DB : 0)),
    trimsDb,
    pending,
  }
}

import { useCallback, useEffect, useMemo, useRef, useState } from 'react'
import { dbToGain, type FrameRange, LAYOUTS, type Role } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { busLayout, type Listening, matrixOf, mutedAfter, type Speakers, sharesOf } from '../listen/heard.ts'
import type { MeterReading } from '../listen/heard-meter.ts'
import type { Asked, OutputNoise } from '../listen/mixing-desk.ts'
import type { FromPlayer } from '../listen/player-worklet.ts'
import { heardLayouts, matchedRange, matchedShares, possibleLayouts, waysOf } from './matching.ts'
import { Player } from './player.ts'
import { useFit } from './use-fit.ts'
import type { HandRiding } from './use-hand-ride.ts'
import { useScrub } from './use-scrub.ts'
import type { useTitle } from './use-title.ts'

/** Low enough to begin with, whatever stands behind the device. */
const FIRST_MONITOR_DB = -30
const DIM_DB = -20
const FASTEST = 4

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
  /** 1; to shuttle 2 and 4, backwards negative. */
  readonly speed: number
  /** That loudspeakers are to be set low first. */
  readonly isCautionRead: boolean
  /** A place is being typed. */
  readonly isTyping: boolean
  /** All that can be compared is brought down to the softest of it. */
  readonly isMatched: boolean
  /** How loud each way to listen is where it was matched, in LKFS, by `wayName`. */
  readonly loudness: ReadonlyMap<string, number | null>
  /** Outputs of the device that are used; null until something was played. */
  readonly outputs: number | null
  /** Blocks of sound that came too late since the last start. */
  readonly missedBlocks: number
  /** Of what is heard; null until something was played. */
  readonly meters: MeterReading | null
  readonly problem: string | null
}

const AT_FIRST: ListeningState = {
  isPlaying: false,
  frame: 0,
  listening: 'source',
  speakers: 'own',
  muted: new Set(),
  monitorDb: FIRST_MONITOR_DB,
  isDimmed: false,
  loops: false,
  speed: 1,
  isCautionRead: false,
  isTyping: false,
  isMatched: false,
  loudness: new Map(),
  outputs: null,
  missedBlocks: 0,
  meters: null,
  problem: null,
}

const NO_LOOP: FrameRange = { startFrame: 0, endFrame: 0 }

type Fit = ReturnType<typeof useFit>

/** What is listened to, on which title, and by which decisions. */
type ListeningGround = {
  readonly head: TitleHead
  readonly titleId: string
  readonly fit: Fit
  readonly trimsDb: Float64Array | null
  readonly ride: HandRiding
  /** Looped, where looping is asked for. */
  readonly stretch: FrameRange | null
}

/** Listening to a title as it is decided, with the fit that it is heard by. */
export function useTitleListening(
  head: TitleHead,
  title: ReturnType<typeof useTitle>,
  { trimsDb, decidedDb, ride }: HeardGains,
  stretch: FrameRange | null,
) {
  const { titleId } = title
  const fit = useFit(head, title, trimsDb, decidedDb)
  return { ...useListening({ head, titleId, fit, trimsDb, ride, stretch }), fit, ride, titleId }
}

/** The mixer's gains at each 100 ms: as they are heard, as the sheet has them, and the fader on top of what is heard. */
export type HeardGains = {
  readonly trimsDb: Float64Array | null
  readonly decidedDb: Float64Array | null
  readonly ride: HandRiding
}

/** Listening to a title: what is heard, through what, how loud, and where. */
function useListening(ground: ListeningGround) {
  const [state, setState] = useState(AT_FIRST)
  const change = useCallback((more: Partial<ListeningState>) => setState((before) => ({ ...before, ...more })), [])
  const { player, hand, open, seek, play, pause, toggle, playNoise, heard } = usePlaying(state, ground, change)
  useTold(player, state, ground)

  const scrubbing = useScrub({
    ground: ground.head.ground,
    hand,
    frame: () => state.frame,
    player: () => (state.isCautionRead || player.current !== null ? open() : null),
    onAt: (frame) => {
      ground.ride.end()
      change({ frame })
    },
    pause,
  })
  const keys = useTransportKeys(state, { toggle, play, pause, change })
  const channel = (place: number, isAlone: boolean) => {
    const roles = LAYOUTS[busLayout(possibleLayouts(ground.head))]
    const role = roles[place]
    return role === undefined ? false : change({ muted: mutedAfter(state.muted, roles, role, isAlone) })
  }
  const riding = useRiding(state, ground, { play, change })
  return {
    state,
    change,
    toggle,
    seek,
    playNoise,
    scrub: scrubbing.scrub,
    keys: { ...keys, ...scrubbing.keys, ...riding.keys, channel },
    moveFader: riding.moveFader,
    heard,
    playing: state.outputs === null ? null : state.frame,
  }
}

type Change = (more: Partial<ListeningState>) => void

/** The player of a title, and going about in it. `hand`: where a hand scrubs. */
function usePlaying(state: ListeningState, ground: ListeningGround, change: Change) {
  const latest = useRef({ state, ground })
  latest.current = { state, ground }
  const player = useRef<Player | null>(null)
  const hand = useRef<number | null>(null)
  const opening = useRef<Promise<Player> | null>(null)
  const seek = useCallback(
    (frame: number) => {
      hand.current = null
      latest.current.ground.ride.end()
      player.current?.seek(frame, latest.current.state.speed)
      change({ frame })
    },
    [change],
  )
  const onFrame = useCallback(
    ({ frame, missedBlocks, ridden, meters }: FromPlayer) => {
      const { state: now, ground: on } = latest.current
      on.ride.hear(ridden)
      const isOver = now.speed > 0 ? frame >= on.head.ground.frameCount : frame <= 0
      if (isOver) {
        player.current?.pause()
        on.ride.end()
      }
      return change({ frame, missedBlocks, meters, ...(isOver && { isPlaying: false }) })
    },
    [change],
  )
  const open = useCallback(() => {
    opening.current ??= openOnce(player, latest.current, { onFrame, change }).catch((error: Error) => {
      opening.current = null
      throw error
    })
    return opening.current
  }, [change, onFrame])
  const play = useCallback(
    async (speed: number) => {
      try {
        const opened = await open()
        const { state: now, ground: on } = latest.current
        hand.current = null
        opened.seek(speed > 0 && now.frame >= on.head.ground.frameCount ? 0 : now.frame, speed)
        await opened.play()
        return change({ isPlaying: true, speed, problem: null })
      } catch (error) {
        return change({ problem: `This browser cannot play here: ${(error as Error).message}` })
      }
    },
    [change, open],
  )
  const pause = useCallback(() => {
    latest.current.ground.ride.end()
    player.current?.pause()
    change({ isPlaying: false, speed: 1 })
  }, [change])
  const playNoise = useCallback(
    async (noise: OutputNoise | null) => {
      try {
        if (noise !== null) pause()
        await (await open()).playNoise(noise)
      } catch (error) {
        change({ problem: `This browser cannot play here: ${(error as Error).message}` })
      }
    },
    [change, open, pause],
  )
  const heard = useCallback(() => player.current?.heard() ?? { frame: latest.current.state.frame, speed: 0 }, [])
  const toggle = useCallback(() => (latest.current.state.isPlaying ? pause() : void play(1)), [pause, play])
  return { player, hand, open, seek, play, pause, toggle, playNoise, heard }
}

type PlayerHolder = { current: Player | null }

/** The player of this title; the first time it is asked for it is opened, which takes a gesture of the user. */
async function openOnce(
  player: PlayerHolder,
  { state, ground }: { readonly state: ListeningState; readonly ground: ListeningGround },
  told: {
    readonly onFrame: (told: FromPlayer) => void
    readonly change: (more: Partial<ListeningState>) => void
  },
): Promise<Player> {
  if (player.current !== null) return player.current
  const { head, titleId, fit, trimsDb } = ground
  const asked = (count: number) => askedOf(head, state, count, { ...fit, trimsDb, isRiding: false })
  const opened = await Player.open(head, titleId, asked, {
    onFrame: told.onFrame,
    onMatched: (loudness) => told.change({ loudness }),
    onLost: (error) => told.change({ problem: error.message }),
  })
  player.current = opened.player
  told.change({ outputs: opened.outputs })
  return opened.player
}

/** Tells the player what is asked of it, as soon as that changes. */
function useTold(player: PlayerHolder, state: ListeningState, ground: ListeningGround): void {
  const latest = useRef({ state, ground })
  latest.current = { state, ground }
  const { head, fit, trimsDb } = ground
  const { isRiding, faderDb } = ground.ride
  const { listening, speakers, muted, monitorDb, isDimmed, isMatched, loudness, outputs } = state
  const { plan, pending, wishes, master, want } = fit
  // The fader stands where it is to begin before the ride does.
  useEffect(() => {
    if (outputs !== null && faderDb !== null) player.current?.moveFader(faderDb)
  }, [outputs, faderDb, player])
  useEffect(() => {
    if (outputs === null) return
    const heard = { listening, speakers, muted, monitorDb, isDimmed, isMatched, loudness }
    player.current?.ask(askedOf(head, heard, outputs, { plan, pending, trimsDb, isRiding }))
  }, [
    head,
    listening,
    speakers,
    muted,
    monitorDb,
    isDimmed,
    isMatched,
    loudness,
    outputs,
    plan,
    pending,
    trimsDb,
    isRiding,
    player,
  ])
  useEffect(() => {
    if (outputs !== null) player.current?.wish(wishes, master)
  }, [outputs, wishes, master, player])
  // While the fader is ridden a loop is not gone round: what is written down runs forward.
  const { startFrame, endFrame } = (state.loops && !isRiding ? ground.stretch : null) ?? NO_LOOP
  useEffect(() => {
    if (outputs !== null) player.current?.loop(endFrame > startFrame ? { startFrame, endFrame } : null)
  }, [outputs, startFrame, endFrame, player])
  useEffect(() => {
    if (outputs === null || !isMatched) return
    const { state: now, ground: on } = latest.current
    player.current?.match(matchedRange(on.head.ground, on.stretch, now.frame), waysOf(on.head, plan, outputs))
  }, [outputs, isMatched, plan, player])
  useEffect(() => {
    if (needsFit(head, listening)) want()
  }, [head, listening, want])
  useEffect(() => () => player.current?.close(), [player])
}

/** What the keys of the transport do. */
function useTransportKeys(
  state: ListeningState,
  acts: {
    readonly toggle: () => void
    readonly play: (speed: number) => Promise<void>
    readonly pause: () => void
    readonly change: (more: Partial<ListeningState>) => void
  },
) {
  const { toggle, play, pause, change } = acts
  const latest = useRef(state)
  latest.current = state
  const shuttle = useCallback(
    (direction: 1 | -1) => {
      const { isPlaying, speed } = latest.current
      const isFaster = isPlaying && Math.sign(speed) === direction
      void play(isFaster ? direction * Math.min(FASTEST, 2 * Math.abs(speed)) : direction)
    },
    [play],
  )
  return useMemo(
    () => ({
      play: toggle,
      stop: pause,
      forward: () => shuttle(1),
      backward: () => shuttle(-1),
      goTo: () => change({ isTyping: true }),
    }),
    [toggle, pause, shuttle, change],
  )
}

const FADER_STEP_DB = 0.5

/** Riding by hand, by keys and by the fader. A ride is heard: where what is listened to has no gain, another is. */
function useRiding(
  { isPlaying, speed, frame, listening }: ListeningState,
  { head, ride }: ListeningGround,
  {
    play,
    change,
  }: { readonly play: (speed: number) => Promise<void>; readonly change: (more: Partial<ListeningState>) => void },
) {
  const begin = (faderDb?: number) => {
    ride.begin(frame, faderDb)
    if (listening === 'upmix' && canBeFitted(head)) change({ listening: 'fitted' })
    else if (listening === 'source' || listening === 'upmix') change({ listening: 'trimmed' })
    if (!isPlaying || speed !== 1) void play(1)
  }
  const step = (byDb: number) => (ride.faderDb === null ? false : ride.move(ride.faderDb + byDb))
  return {
    moveFader: (gainDb: number) => (ride.isRiding ? ride.move(gainDb) : begin(gainDb)),
    keys: {
      ride: () => (ride.isRiding ? ride.end() : begin()),
      louder: () => step(FADER_STEP_DB),
      softer: () => step(-FADER_STEP_DB),
    },
  }
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

/** The monitor gain as it is heard. */
export function heardMonitorDb({ monitorDb, isDimmed }: Pick<ListeningState, 'monitorDb' | 'isDimmed'>): number {
  return monitorDb + (isDimmed ? DIM_DB : 0)
}

function askedOf(
  head: TitleHead,
  state: Pick<ListeningState, 'listening' | 'speakers' | 'muted' | 'monitorDb' | 'isDimmed' | 'isMatched' | 'loudness'>,
  outputs: number,
  { plan, pending, trimsDb, isRiding }: Pick<Fit, 'plan' | 'pending'> & Pick<Asked, 'trimsDb' | 'isRiding'>,
): Asked {
  const { listening, speakers, muted, monitorDb, isDimmed, isMatched, loudness } = state
  const possible = possibleLayouts(head)
  const shares = sharesOf(listening, heardLayouts(head, plan))
  return {
    shares: isMatched ? matchedShares(shares, speakers, loudness) : shares,
    matrix: matrixOf(busLayout(possible), speakers, outputs, (role) => !muted.has(role)),
    isSmall: speakers === 'small',
    monitorGain: dbToGain(heardMonitorDb({ monitorDb, isDimmed })),
    trimsDb,
    pending,
    isRiding,
  }
}

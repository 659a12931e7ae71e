import { useCallback, useMemo, useRef, useState } from 'react'
import { framesPerHop, type MixerGain } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import type { Ridden } from '../listen/mixing-desk.ts'
import { gainStep } from './edits.ts'
import { handRidesOf, riddenDb, rideOf, type Take, THINNED_WITHIN_DB, withoutRideFrom, withTake } from './hand-ride.ts'
import type { useTitle } from './use-title.ts'

/** What is being ridden. */
type Riding = {
  /** Where it was punched in; the take begins with the next 100 ms that is heard. */
  readonly fromFrame: number
  readonly faderDb: number
  readonly take: Take | null
}

export type HandRiding = ReturnType<typeof useHandRide>

/**
 * Riding by hand: what the fader does while one listens becomes a hand ride of the sheet, as one step. It is written down
 * where it is heard, in the audio thread, so what the sheet holds is what was heard.
 */
export function useHandRide({ ground }: TitleHead, { decisions, placed, change }: ReturnType<typeof useTitle>) {
  const [riding, setRiding] = useState<Riding | null>(null)
  const [note, setNote] = useState<string | null>(null)
  const latest = useRef({ riding, decisions, placed })
  latest.current = { riding, decisions, placed }
  const hopFrames = framesPerHop(ground.sampleRateHz)
  const ridden = useMemo(() => riddenDb(placed.gains, ground), [placed, ground])
  const riddenAt = (frame: number) => ridden[Math.floor(frame / hopFrames)] ?? 0

  const begin = (frame: number, faderDb: number = riddenAt(frame)) => {
    setNote(null)
    setRiding({ fromFrame: frame, faderDb: gainStep(faderDb), take: null })
  }
  const move = (faderDb: number) =>
    setRiding((before) => (before === null ? null : { ...before, faderDb: gainStep(faderDb) }))
  const hear = useCallback((told: readonly Ridden[]) => {
    if (told.length > 0) setRiding((before) => (before === null ? null : { ...before, take: grown(before.take, told) }))
  }, [])
  const end = useCallback(() => {
    const { riding: now, decisions: decided, placed: on } = latest.current
    setRiding(null)
    if (now === null || now.take === null) return
    const sheet = withTake(decided.sheet, ground, on, now.take)
    change(sheet)
    setNote(inWords(sheet.fit.handRides ?? []))
  }, [change, ground])
  const cancel = useCallback(() => setRiding(null), [])

  const heardGains = useHeard(placed.gains, riding?.fromFrame ?? null)
  const shownGains = useMemo(
    () => (riding === null || riding.take === null ? placed.gains : shown(placed.gains, riding.take, hopFrames)),
    [placed, riding, hopFrames],
  )
  return {
    isRiding: riding !== null,
    /** Where the fader stands while it is ridden. */
    faderDb: riding?.faderDb ?? null,
    riddenAt,
    note,
    /** What is heard besides the fader, and what is shown. */
    heardGains,
    shownGains,
    begin,
    move,
    hear,
    end,
    cancel,
  }
}

/** What was ridden before is not heard where it is ridden again. */
function useHeard(gains: readonly MixerGain[], fromFrame: number | null): readonly MixerGain[] {
  return useMemo(() => (fromFrame === null ? gains : withoutRideFrom(gains, fromFrame)), [gains, fromFrame])
}

/** A take with what was heard since; where the sound broke off the fader is taken to have stood still. */
function grown(take: Take | null, told: readonly Ridden[]): Take {
  const firstHop = take?.firstHop ?? told[0]!.hop
  const gainsDb = [...(take?.gainsDb ?? [])]
  for (const { hop, gainDb } of told) {
    if (hop < firstHop) continue
    while (gainsDb.length < hop - firstHop) gainsDb.push(gainsDb.at(-1) ?? gainDb)
    gainsDb[hop - firstHop] = gainDb
  }
  return { firstHop, gainsDb }
}

/** What was ridden before and lies ahead still stands there. */
function shown(gains: readonly MixerGain[], take: Take, hopFrames: number): readonly MixerGain[] {
  const ride = rideOf(take, hopFrames)
  const ahead = handRidesOf(gains).flatMap((one) =>
    one.endFrame <= ride.endFrame ? [] : [{ ...one, startFrame: Math.max(one.startFrame, ride.endFrame) }],
  )
  return [...withoutRideFrom(gains, ride.startFrame), ride, ...ahead]
}

function inWords(rides: readonly { readonly points: readonly unknown[] }[]): string {
  const count = rides.reduce((sum, { points }) => sum + points.length, 0)
  return `written: ${count} points, within ${THINNED_WITHIN_DB} dB`
}

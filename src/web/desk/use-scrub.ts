import { type RefObject, useCallback, useMemo, useRef } from 'react'
import { frameRateFraction, type SheetGround } from '../../domain/index.ts'
import type { Player } from './player.ts'

/** What a hand on the ruler, or the keys of it, need of listening. */
type Listened = {
  readonly ground: SheetGround
  /** Where the hand is, until it lets go; keys come faster than the page says where it is. */
  readonly hand: RefObject<number | null>
  readonly frame: () => number
  /** The player; null where nothing may be heard yet, as the caution was not read. */
  readonly player: () => Promise<Player> | null
  /** Says where the hand is, and that nothing plays by itself. */
  readonly onAt: (frame: number) => void
  readonly pause: () => void
}

/** A step by keys where there is no timecode, in seconds. */
const STEP_SECONDS = 0.04
const LONG_STEP_PICTURES = 10

/** Going through a programme by hand, hearing where one is: short grains, at the monitor gain. */
export function useScrub(listened: Listened) {
  const latest = useRef(listened)
  latest.current = listened
  const scrub = useCallback((frame: number) => {
    const { ground, hand, player, onAt } = latest.current
    const place = Math.round(Math.min(Math.max(0, frame), ground.frameCount - 1))
    hand.current = place
    onAt(place)
    const isSilent = matchMedia('(prefers-reduced-motion: reduce)').matches
    // Where the hand has gone on until the player is there, its last place counts.
    void player()?.then(
      (opened) => hand.current === place && opened.scrub(place, isSilent),
      () => {},
    )
  }, [])
  const keys = useMemo(() => {
    const step = (pictures: number) => {
      const { ground, hand, pause, frame } = latest.current
      if (hand.current === null) pause()
      scrub((hand.current ?? frame()) + pictures * stepFrames(ground))
    }
    return {
      stepOn: () => step(1),
      stepBack: () => step(-1),
      stepFarOn: () => step(LONG_STEP_PICTURES),
      stepFarBack: () => step(-LONG_STEP_PICTURES),
    }
  }, [scrub])
  return { scrub, keys }
}

/** A picture, in frames of sound. */
function stepFrames({ clock, sampleRateHz }: SheetGround): number {
  if (clock === null) return STEP_SECONDS * sampleRateHz
  const { numerator, denominator } = frameRateFraction(clock.format.rate)
  return (sampleRateHz * denominator) / numerator
}

import { type RefObject, useEffect, useRef } from 'react'
import { follow, type Wanted } from './follow.ts'

/** Until it is known how long it takes to go to a place. */
const CUSTOMARY_SEEK_SECONDS = 0.06
/** Share of the last seek in what the next is thought to take. */
const LEARNING = 0.3

/** Keeps a picture with what is heard, looked at before every frame of the screen. */
export function useFollowing(video: RefObject<HTMLVideoElement | null>, wanted: () => Wanted): void {
  const latest = useRef(wanted)
  latest.current = wanted
  useEffect(() => {
    let seekSeconds = CUSTOMARY_SEEK_SECONDS
    let soughtAt: number | null = null
    const look = () => {
      next = requestAnimationFrame(look)
      const element = video.current
      if (element === null || element.readyState === HTMLMediaElement.HAVE_NOTHING) return
      if (soughtAt !== null && !element.seeking) {
        seekSeconds += LEARNING * ((performance.now() - soughtAt) / 1000 - seekSeconds)
        soughtAt = null
      }
      const place = latest.current()
      const isThere = place.seconds >= 0 && place.seconds < element.duration
      element.style.visibility = isThere ? 'visible' : 'hidden'
      const bounded = { ...place, seconds: Math.min(Math.max(0, place.seconds), element.duration) }
      const speed = isThere ? place.speed : 0
      const shown = { seconds: element.currentTime, isSeeking: element.seeking }
      const { seekTo, rate } = follow({ ...bounded, speed }, shown, seekSeconds)
      if (seekTo !== null) {
        element.currentTime = seekTo
        soughtAt = performance.now()
      }
      run(element, rate)
    }
    let next = requestAnimationFrame(look)
    return () => cancelAnimationFrame(next)
  }, [video])
}

function run(element: HTMLVideoElement, rate: number): void {
  if (rate === 0) {
    if (!element.paused) element.pause()
    return
  }
  if (element.playbackRate !== rate) element.playbackRate = rate
  // A browser that goes on to something else meanwhile says so here; the next look tries again.
  if (element.paused) void element.play().catch(() => {})
}

/** Where a picture is to be, in seconds from its beginning, and how fast it is to go; 0 or less: it is shown still. */
export type Wanted = { readonly seconds: number; readonly speed: number }

/** Where it is. */
export type Shown = { readonly seconds: number; readonly isSeeking: boolean }

/** What is done about it: gone to a place (null: not), and at which rate it goes on; 0: it stands. */
export type Step = { readonly seekTo: number | null; readonly rate: number }

/** Farther off than this it is gone there; nearer it runs a little faster or slower for a moment. */
const SEEK_FROM_SECONDS = 0.25
/** Time constant by which it comes nearer. */
const CATCH_UP_SECONDS = 0.15
const LEAST_RATE = 0.7
const MOST_RATE = 1.4
/** Nearer than this it is there. */
const ARRIVED_SECONDS = 0.004
/** Into the picture that begins at an instant, whatever rounding did to it. */
const INSIDE_SECONDS = 0.0005

/**
 * Keeps a picture with its sound: the sound is never touched.
 * @param seekSeconds how long it takes to go to a place: it is gone to where the sound will be by then
 */
export function follow({ seconds, speed }: Wanted, shown: Shown, seekSeconds: number): Step {
  const wanted = seconds + INSIDE_SECONDS
  const late = wanted - shown.seconds
  if (speed <= 0) {
    return { seekTo: !shown.isSeeking && Math.abs(late) > ARRIVED_SECONDS ? wanted : null, rate: 0 }
  }
  if (shown.isSeeking) return { seekTo: null, rate: speed }
  if (Math.abs(late) > SEEK_FROM_SECONDS * speed) return { seekTo: wanted + speed * seekSeconds, rate: speed }
  if (Math.abs(late) <= ARRIVED_SECONDS) return { seekTo: null, rate: speed }
  const faster = 1 + late / speed / CATCH_UP_SECONDS
  return { seekTo: null, rate: speed * Math.min(MOST_RATE, Math.max(LEAST_RATE, faster)) }
}

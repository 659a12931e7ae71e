import type { StereoRole } from './delivery.ts'
import { assert } from './findings.ts'
import type { FrameRange } from './frame-range.ts'
import type { SourceReading } from './source-reading.ts'
import type { UpmixSettings } from './upmix-parameters.ts'

/** A stretch of the programme with upmix settings of its own. */
export type UpmixScene = FrameRange & {
  readonly name: string | null
  /** All of them: those of the programme, and over them what the scene says itself. */
  readonly settings: UpmixSettings
  /** How long the change at each border takes, centred on the border. */
  readonly glideInFrames: number
  readonly glideOutFrames: number
}

/** All that the upmix of a programme is told. Bytes are a function of the source, this and the gains. */
export type UpmixPlan = {
  /** What holds outside of the scenes. */
  readonly settings: UpmixSettings
  /** In order, none over another. */
  readonly scenes: readonly UpmixScene[]
  /** What the two tracks were found to be; absent where nobody looked. */
  readonly reading?: SourceReading
}

/** Whether the two tracks are decoded as Lt/Rt: because the mixer says so, or leaves it to what was found. */
export function decodesMatrix(
  { kind }: Pick<UpmixSettings, 'kind'>,
  reading: Pick<SourceReading, 'kind'> | undefined,
): boolean {
  return kind === 'lt-rt' || (kind === 'auto' && reading?.kind === 'lt-rt')
}

/** What the stereo beside a mix is: of a decoded Lt/Rt that Lt/Rt, else the fold-down. Null: there was no upmix. */
export function stereoRoleOf(upmix: UpmixPlan | null): StereoRole {
  return upmix !== null && decodesMatrix(upmix.settings, upmix.reading) ? 'lt-rt' : 'lo-ro'
}

/** A plan of one set of settings for the whole programme. */
export function steadyUpmix(settings: UpmixSettings): UpmixPlan {
  return { settings, scenes: [] }
}

/**
 * A stretch of one set of settings with the glides at its borders, of which each half lies outside. The first begins at
 * -Infinity and the last ends at Infinity.
 */
export type UpmixStretch = FrameRange & {
  readonly settings: UpmixSettings
  readonly glideInFrames: number
  readonly glideOutFrames: number
}

/** Glides of 10 ms are inaudible on steady tones; nothing shorter is asked for. @source measured: docs/decisions/0019 */
export const SHORTEST_UPMIX_GLIDE_MS = 10
/** What is taken where nobody says: a scene may take its time. Our own choice. */
export const CUSTOMARY_UPMIX_GLIDE_MS = 500
export const LONGEST_UPMIX_GLIDE_MS = 60_000

/**
 * The stretches of a plan from its first frame to its last, neighbours with the same settings joined. Where two scenes
 * touch, the longer of their glides holds. A glide is shortened where a stretch beside it is shorter, so that no more
 * than two sets of settings ever sound together.
 */
export function upmixStretches({ settings, scenes }: UpmixPlan): readonly UpmixStretch[] {
  const stretches: UpmixStretch[] = []
  let end = Number.NEGATIVE_INFINITY
  const add = (stretch: UpmixStretch): void => {
    const before = stretches.at(-1)
    if (before !== undefined && isSame(before.settings, stretch.settings)) {
      stretches[stretches.length - 1] = {
        ...before,
        endFrame: stretch.endFrame,
        glideOutFrames: stretch.glideOutFrames,
      }
    } else stretches.push(stretch)
    end = stretch.endFrame
  }
  const rest = { settings, glideInFrames: 0, glideOutFrames: 0 }
  for (const scene of scenes) {
    const { startFrame, endFrame, glideInFrames, glideOutFrames } = scene
    assert(startFrame < endFrame && startFrame >= end, 'scenes have a length, stand in order and do not overlap')
    if (startFrame > Math.max(end, 0)) add({ ...rest, startFrame: end, endFrame: startFrame })
    const first = stretches.length === 0 ? Number.NEGATIVE_INFINITY : startFrame
    add({ settings: scene.settings, startFrame: first, endFrame, glideInFrames, glideOutFrames })
  }
  add({ ...rest, startFrame: end, endFrame: Number.POSITIVE_INFINITY })
  return stretches.map((stretch, index) => ({
    ...stretch,
    glideInFrames: glideBetween(stretches[index - 1], stretch),
    glideOutFrames: glideBetween(stretch, stretches[index + 1]),
  }))
}

function isSame(a: UpmixSettings, b: UpmixSettings): boolean {
  return (Object.keys(a) as (keyof UpmixSettings)[]).every((name) => a[name] === b[name])
}

function glideBetween(before: UpmixStretch | undefined, after: UpmixStretch | undefined): number {
  if (before === undefined || after === undefined) return 0
  const asked = Math.max(before.glideOutFrames, after.glideInFrames)
  return Math.min(asked, before.endFrame - before.startFrame, after.endFrame - after.startFrame)
}

/** The frames in which a stretch sounds, glides included. */
export function soundingRange({ startFrame, endFrame, glideInFrames, glideOutFrames }: UpmixStretch): FrameRange {
  return {
    startFrame: Math.floor(startFrame - glideInFrames / 2),
    endFrame: Math.ceil(endFrame + glideOutFrames / 2),
  }
}

/** The share in which a stretch sounds at a frame, 0..1. Over all stretches the shares of a frame make 1. */
export function shareAt({ startFrame, endFrame, glideInFrames, glideOutFrames }: UpmixStretch, frame: number): number {
  const middle = frame + 0.5
  return Math.min(rise(middle - startFrame, glideInFrames), rise(endFrame - middle, glideOutFrames))
}

/** From 0 to 1 around a border. The two sides of a change are the same sound, so their amplitudes make 1, not their powers. */
function rise(pastBorder: number, glideFrames: number): number {
  if (pastBorder >= glideFrames / 2) return 1
  if (pastBorder <= -glideFrames / 2) return 0
  const t = pastBorder / glideFrames + 0.5
  // Three derivatives vanish at both ends: 56 dB less spill above 5 kHz in 10 ms than a raised cosine (docs/decisions/0019).
  return t * t * t * t * (35 + t * (-84 + t * (70 - 20 * t)))
}

/** `frontSpread` along a programme, a factor of its own: one value, or stretches whose values glide into each other. */
export type FrontSpread = number | readonly UpmixStretch[]

/** A decoded Lt/Rt has fronts by its own law, and no spread. */
export function frontSpreadOf(plan: UpmixPlan): FrontSpread {
  if (decodesMatrix(plan.settings, plan.reading)) return 1
  const stretches = upmixStretches(plan)
  const { frontSpread } = (stretches[0] as UpmixStretch).settings
  return stretches.every(({ settings }) => settings.frontSpread === frontSpread) ? frontSpread : stretches
}

/** `frontSpread` over some frames: one number where it rests there, else a value for each frame. */
export function frontSpreadOver(spread: FrontSpread, firstFrame: number, frameCount: number): number | Float64Array {
  if (typeof spread === 'number') return spread
  const heard = stretchesWithin(spread, { startFrame: firstFrame, endFrame: firstFrame + frameCount })
  const first = (heard[0] as UpmixStretch).settings.frontSpread
  if (heard.every(({ settings }) => settings.frontSpread === first)) return first
  const values = new Float64Array(frameCount)
  for (const stretch of heard) {
    const { frontSpread } = stretch.settings
    for (let i = 0; i < frameCount; i++)
      values[i] = (values[i] as number) + frontSpread * shareAt(stretch, firstFrame + i)
  }
  return values
}

/** The stretches that sound in a range, in order. */
export function stretchesWithin(stretches: readonly UpmixStretch[], within: FrameRange): readonly UpmixStretch[] {
  return stretches.filter((stretch) => {
    const { startFrame, endFrame } = soundingRange(stretch)
    return startFrame < within.endFrame && endFrame > within.startFrame
  })
}

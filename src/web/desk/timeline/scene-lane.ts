import type { PlacedScene } from '../../../domain/index.ts'
import type { SceneChoice, Side } from '../scene-edits.ts'
import type { Lanes } from './lanes.ts'
import type { Scene } from './scene.ts'

/** What can be taken hold of in the lane of the scenes. */
export type SceneGrip =
  | { readonly kind: 'scene'; readonly choice: SceneChoice }
  | { readonly kind: 'border'; readonly index: number; readonly side: Side }
  | { readonly kind: 'glide'; readonly index: number; readonly side: Side; readonly isLater: boolean }

/** A border of scenes, and how far its glide reaches to either side. */
export type Border = {
  readonly index: number
  readonly side: Side
  readonly seconds: number
  readonly halfGlideSeconds: number
}

const REACH_PIXELS = 5
/** So that they can be told from the border, handles of short glides stand as far from it. */
const LEAST_HANDLE_PIXELS = 8

/** Borders at which settings change; where two scenes touch there is one. None at the ends of the programme. */
export function bordersOf({ scenes, sampleRateHz, durationSeconds }: Scene): readonly Border[] {
  const border = (index: number, side: Side, frame: number, glideMs: number): Border => ({
    index,
    side,
    seconds: frame / sampleRateHz,
    halfGlideSeconds: glideMs / 2000,
  })
  const touches = (a: PlacedScene | undefined, b: PlacedScene | undefined) => a?.endFrame === b?.startFrame
  return scenes
    .flatMap((scene, index) => {
      const next = scenes[index + 1]
      const glideOut = touches(scene, next) ? Math.max(scene.glideOutMs, next!.glideInMs) : scene.glideOutMs
      const first = touches(scenes[index - 1], scene)
        ? []
        : [border(index, 'in' as const, scene.startFrame, scene.glideInMs)]
      return [...first, border(index, 'out' as const, scene.endFrame, glideOut)]
    })
    .filter(({ seconds }) => seconds > 0 && seconds < durationSeconds)
}

/** Where the handles of a glide stand, left and right of its border, in pixels from it. */
export function handlePixels({ halfGlideSeconds }: Border, pixelsPerSecond: number): number {
  return Math.max(LEAST_HANDLE_PIXELS, halfGlideSeconds * pixelsPerSecond)
}

/** What lies under an instant of the lane. */
export function gripAt(scene: Scene, lanes: Lanes, seconds: number): SceneGrip {
  const pixelsPerSecond = lanes.width / (scene.seen.to - scene.seen.from)
  const pixelsTo = ({ seconds: at }: Border) => (seconds - at) * pixelsPerSecond
  const borders = bordersOf(scene)
  const border = borders.find((one) => Math.abs(pixelsTo(one)) < REACH_PIXELS)
  if (border !== undefined) return { kind: 'border', index: border.index, side: border.side }
  const gliding = borders.find(
    (one) => Math.abs(Math.abs(pixelsTo(one)) - handlePixels(one, pixelsPerSecond)) < REACH_PIXELS,
  )
  if (gliding !== undefined) {
    return { kind: 'glide', index: gliding.index, side: gliding.side, isLater: pixelsTo(gliding) > 0 }
  }
  const at = seconds * scene.sampleRateHz
  const index = scene.scenes.findIndex(({ startFrame, endFrame }) => at >= startFrame && at < endFrame)
  return { kind: 'scene', choice: index < 0 ? 'title' : index }
}

import type { PlacedScene, SheetGround } from './place-sheet.ts'
import type { Sheet } from './sheet.ts'
import type { UpmixSettings } from './upmix-parameters.ts'
import type { UpmixPlan } from './upmix-plan.ts'
import { upmixSettingsOf } from './upmix-starts.ts'

/**
 * The upmix that a sheet asks for: over the settings of the sheet goes what is `told` beside it, and inside a scene
 * its own.
 * @param scenes of the sheet, laid on its frames
 */
export function upmixOfSheet(
  sheet: Pick<Sheet, 'upmix' | 'sources'> | null,
  scenes: readonly PlacedScene[],
  { sampleRateHz, frameCount }: Pick<SheetGround, 'sampleRateHz' | 'frameCount'>,
  told: { readonly start?: string | undefined; readonly settings?: Partial<UpmixSettings> | undefined } = {},
): UpmixPlan {
  const own = sheet?.upmix ?? { settings: {}, scenes: [], start: null }
  const upmix = { ...own, start: told.start ?? own.start }
  const settings = { ...upmixSettingsOf({ upmix, sources: sheet?.sources ?? [] }), ...told.settings }
  const inFrames = (ms: number) => Math.round((ms * sampleRateHz) / 1000)
  return {
    settings,
    scenes: scenes.map(({ name, startFrame, endFrame, glideInMs, glideOutMs, settings: own }) => ({
      name,
      startFrame,
      endFrame,
      settings: { ...settings, ...own },
      glideInFrames: inFrames(glideInMs),
      // Behind the end there is nothing to glide to.
      glideOutFrames: endFrame === frameCount ? 0 : inFrames(glideOutMs),
    })),
  }
}

import { useState } from 'react'
import type { Sheet } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { suggestScenes } from './calls.ts'
import {
  type SceneChoice,
  type Side,
  withBorder,
  withGlide,
  withJoin,
  withoutScene,
  withSettings,
  withSplit,
  withSuggestion,
} from './scene-edits.ts'
import type { useTitle } from './use-title.ts'

const GLIDE_FACTOR = 1.5

/** What is done with scenes of the upmix; each is one step of undo, and what cannot be is not done. */
export function useScenes(
  { ground, layout }: TitleHead,
  { decisions, change, saveNow, titleId }: ReturnType<typeof useTitle>,
  chosen: SceneChoice | null,
  choose: (choice: SceneChoice | null) => void,
  cursor: () => number,
) {
  const { sheet } = decisions
  const [copied, setCopied] = useState<Sheet['upmix']['settings'] | null>(null)
  const index = typeof chosen === 'number' && chosen < sheet.upmix.scenes.length ? chosen : null
  const take = (changed: Sheet | null, moving?: string) => {
    if (changed !== null) change(changed, moving)
  }
  const glide = (times: number) => {
    if (index === null) return
    // Into the first scene there is nothing to glide from.
    const side = index === 0 ? 'out' : 'in'
    const { glideInMs, glideOutMs } = sheet.upmix.scenes[index]!
    take(withGlide(sheet, index, side, (side === 'in' ? glideInMs : glideOutMs) * times))
  }
  const step = (by: number) => {
    const last = sheet.upmix.scenes.length - 1
    if (last >= 0) choose(index === null ? (by > 0 ? 0 : last) : Math.min(last, Math.max(0, index + by)))
  }
  const settings = () => (index === null ? sheet.upmix.settings : sheet.upmix.scenes[index]!.settings)
  return {
    copied,
    onCopy: setCopied,
    onBorder: (at: number, side: Side, frame: number) =>
      take(withBorder(sheet, ground, at, side, frame), `border ${at} ${side}`),
    onGlide: (at: number, side: Side, ms: number) => take(withGlide(sheet, at, side, ms), `glide ${at} ${side}`),
    remove: () => {
      if (index !== null) take(withoutScene(sheet, index))
      choose(null)
    },
    keys: {
      split: () => layout === '2.0' && take(withSplit(sheet, ground, cursor())),
      join: () => index !== null && take(withJoin(sheet, ground, index)),
      longerGlide: () => glide(GLIDE_FACTOR),
      shorterGlide: () => glide(1 / GLIDE_FACTOR),
      nextScene: () => step(1),
      previousScene: () => step(-1),
      copy: () => chosen !== null && setCopied(settings()),
      paste: () => {
        if (copied !== null && chosen !== null) take(withSettings(sheet, index ?? 'title', () => copied))
      },
    },
    suggest: async () => {
      await saveNow(sheet)
      const suggestion = await suggestScenes(titleId)
      if (suggestion !== null) change(withSuggestion(sheet, suggestion))
    },
  }
}

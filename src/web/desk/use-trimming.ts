import type { FrameRange, Passage } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'
import { trimOn, withTrim } from './edits.ts'
import type { useTitle } from './use-title.ts'
import type { useView } from './use-view.ts'

/** Where a trim that is set by hand begins. */
const BY_HAND_DB = -1

/** Trims on what is chosen: as a passage suggests, or by hand. */
export function useTrimming(
  { ground }: TitleHead,
  { decisions, change, placed }: ReturnType<typeof useTitle>,
  view: ReturnType<typeof useView>,
  { range, passage }: { readonly range: FrameRange | null; readonly passage: Passage | null },
) {
  const put = (gainDb: number, reason: string | null): boolean => {
    if (range === null) return false
    const sheet = withTrim(decisions.sheet, ground, trimOn(range, gainDb, reason), placed)
    if (sheet === decisions.sheet) return false
    change(sheet)
    view.setSelection(null)
    return true
  }
  const byHand = () => {
    if (range === null || !put(BY_HAND_DB, null)) return
    view.adjustTrim(placed.trims.filter(({ startFrame }) => startFrame < range.startFrame).length)
  }
  const suggestedDb = view.selection === null ? (passage?.suggestedTrimDb ?? null) : null
  const asSuggested = () => suggestedDb !== null && put(suggestedDb, passage?.message ?? null)
  return { asSuggested, byHand, trim: suggestedDb === null ? byHand : asSuggested, adjust: view.adjustTrim }
}

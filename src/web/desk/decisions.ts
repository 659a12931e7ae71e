import type { Sheet } from '../../domain/index.ts'

/** What was decided for a title, with everything that can be taken back. */
export type Decisions = {
  readonly sheet: Sheet
  readonly past: readonly Sheet[]
  readonly future: readonly Sheet[]
  /** What the last change moves: changes of the same thing while it is dragged are one step back. */
  readonly moving: string | null
}

export type Decision =
  | { readonly kind: 'change'; readonly sheet: Sheet; readonly moving?: string }
  | { readonly kind: 'settle' }
  | { readonly kind: 'undo' }
  | { readonly kind: 'redo' }
  | { readonly kind: 'open'; readonly sheet: Sheet }

const MOST_STEPS = 200

export function opened(sheet: Sheet): Decisions {
  return { sheet, past: [], future: [], moving: null }
}

/** One step of work on a title; undo and redo walk through the sheets as they were. */
export function decide(state: Decisions, decision: Decision): Decisions {
  const { sheet, past, future, moving } = state
  switch (decision.kind) {
    case 'change': {
      const isSameMove = decision.moving !== undefined && decision.moving === moving
      return {
        sheet: decision.sheet,
        past: isSameMove ? past : [...past, sheet].slice(-MOST_STEPS),
        future: [],
        moving: decision.moving ?? null,
      }
    }
    case 'settle':
      return moving === null ? state : { ...state, moving: null }
    case 'undo': {
      const before = past.at(-1)
      return before === undefined
        ? state
        : { sheet: before, past: past.slice(0, -1), future: [sheet, ...future], moving: null }
    }
    case 'redo': {
      const [after, ...rest] = future
      return after === undefined ? state : { sheet: after, past: [...past, sheet], future: rest, moving: null }
    }
    case 'open':
      return opened(decision.sheet)
  }
}

import {
  type FrameRange,
  instantOnHop,
  type Sheet,
  type SheetGround,
  type SheetTrim,
  type Trim,
} from '../../domain/index.ts'

const GLIDE_MS = 100
const GAIN_STEPS_PER_DB = 10
export const LOWEST_GAIN_DB = -24
export const HIGHEST_GAIN_DB = 12

/** A gain as trims are set: in tenths of a dB. */
export function gainStep(gainDb: number): number {
  const clamped = Math.min(HIGHEST_GAIN_DB, Math.max(LOWEST_GAIN_DB, gainDb))
  return Math.round(clamped * GAIN_STEPS_PER_DB) / GAIN_STEPS_PER_DB
}

/** The sheet with a trim on a stretch; trims and parts of trims that lay there make room. */
export function withTrim(sheet: Sheet, ground: SheetGround, trim: Trim, placed: readonly Trim[]): Sheet {
  const others = placed.flatMap((other) => outside(other, trim))
  return withTrims(sheet, ground, [...others, trim])
}

export function withTrimGain(sheet: Sheet, index: number, gainDb: number): Sheet {
  return replaced(sheet, (trims) =>
    trims.map((trim, i) => (i === index ? { ...trim, gainDb: gainStep(gainDb) } : trim)),
  )
}

export function withTrimGlide(sheet: Sheet, index: number, glideMs: number): Sheet {
  return replaced(sheet, (trims) => trims.map((trim, i) => (i === index ? { ...trim, glideMs } : trim)))
}

export function withTrimReason(sheet: Sheet, index: number, reason: string): Sheet {
  const said = reason === '' ? null : reason
  return replaced(sheet, (trims) => trims.map((trim, i) => (i === index ? { ...trim, reason: said } : trim)))
}

export function withoutTrim(sheet: Sheet, index: number): Sheet {
  return replaced(sheet, (trims) => trims.filter((_, i) => i !== index))
}

/** The sheet with a stretch that nothing may move by more than so much. */
export function withLock(sheet: Sheet, ground: SheetGround, range: FrameRange, toleranceDb: number): Sheet {
  const lock = { ...written(ground, range), toleranceDb }
  return { ...sheet, fit: { ...sheet.fit, locks: [...sheet.fit.locks, lock] } }
}

export function withoutLock(sheet: Sheet, index: number): Sheet {
  return { ...sheet, fit: { ...sheet.fit, locks: sheet.fit.locks.filter((_, i) => i !== index) } }
}

export function withSpec(sheet: Sheet, id: string): Sheet {
  return { ...sheet, spec: { id, path: null, edition: null, override: {} } }
}

export function withWaiver(sheet: Sheet, line: string, reason: string): Sheet {
  const others = sheet.waivers.filter((waiver) => waiver.line !== line)
  return { ...sheet, waivers: [...others, { line, reason }] }
}

export function withoutWaiver(sheet: Sheet, line: string): Sheet {
  return { ...sheet, waivers: sheet.waivers.filter((waiver) => waiver.line !== line) }
}

export function trimOn(range: FrameRange, gainDb: number, reason: string | null): Trim {
  return { startFrame: range.startFrame, endFrame: range.endFrame, gainDb: gainStep(gainDb), glideMs: GLIDE_MS, reason }
}

function withTrims(sheet: Sheet, ground: SheetGround, trims: readonly Trim[]): Sheet {
  const inOrder = trims.toSorted((a, b) => a.startFrame - b.startFrame)
  return replaced(sheet, () =>
    inOrder.map(({ gainDb, glideMs, reason, ...range }) => ({ ...written(ground, range), gainDb, glideMs, reason })),
  )
}

function replaced(sheet: Sheet, change: (trims: readonly SheetTrim[]) => readonly SheetTrim[]): Sheet {
  return { ...sheet, fit: { ...sheet.fit, trims: change(sheet.fit.trims) } }
}

function written({ clock, sampleRateHz }: SheetGround, { startFrame, endFrame }: FrameRange) {
  return { from: instantOnHop(clock, startFrame, sampleRateHz), to: instantOnHop(clock, endFrame, sampleRateHz) }
}

/** What is left of a trim outside a range. */
function outside(trim: Trim, { startFrame, endFrame }: FrameRange): readonly Trim[] {
  if (trim.endFrame <= startFrame || endFrame <= trim.startFrame) return [trim]
  return [
    { ...trim, endFrame: startFrame },
    { ...trim, startFrame: endFrame },
  ].filter((piece) => piece.startFrame < piece.endFrame)
}

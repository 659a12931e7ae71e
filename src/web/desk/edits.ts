import {
  type FrameRange,
  instantOnHop,
  type PlacedSheet,
  readInstant,
  type Sheet,
  type SheetGround,
  type SheetTrim,
  type Trim,
} from '../../domain/index.ts'
import { allowedWithin, handRidesOf, withoutRide } from './hand-ride.ts'

const GLIDE_MS = 100
const GAIN_STEPS_PER_DB = 10
export const LOWEST_GAIN_DB = -24
export const HIGHEST_GAIN_DB = 12

/** A gain as trims are set: in tenths of a dB. */
export function gainStep(gainDb: number): number {
  const clamped = Math.min(HIGHEST_GAIN_DB, Math.max(LOWEST_GAIN_DB, gainDb))
  return Math.round(clamped * GAIN_STEPS_PER_DB) / GAIN_STEPS_PER_DB
}

/**
 * The sheet with a trim on a stretch; trims and parts of trims that lay there make room. The trim itself keeps inside the
 * programme and out of what is locked, and inside a limit it goes no further than that allows.
 */
export function withTrim(sheet: Sheet, ground: SheetGround, trim: Trim, placed: PlacedSheet): Sheet {
  const pieces = allowedWithin(trim, placed, ground).map(({ stretch, mostDb }) => bounded(trim, stretch, mostDb))
  if (pieces.length === 0) return sheet
  const others = placed.trims.flatMap((other) => outside(other, trim))
  return withTrims(sheet, ground, [...others, ...joined(pieces)])
}

/** The sheet with another gain of a trim, no further than the limits allow that it lies in. */
export function withTrimGain(sheet: Sheet, index: number, gainDb: number, { trims, locks }: PlacedSheet): Sheet {
  const place = trims[index]
  const around = place === undefined ? [] : locks.filter((lock) => overlaps(lock, place))
  const mostDb = Math.min(...around.map(({ toleranceDb }) => toleranceDb), Number.POSITIVE_INFINITY)
  return replaced(sheet, (all) =>
    all.map((trim, i) => (i === index ? { ...trim, gainDb: gainStep(within(gainDb, mostDb)) } : trim)),
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

/** The sheet with a stretch that nothing may move by more than so much: trims and hand rides there give way. */
export function withLock(
  sheet: Sheet,
  ground: SheetGround,
  range: FrameRange,
  toleranceDb: number,
  placed: PlacedSheet,
): Sheet {
  const stretches = allowedWithin(range, { ...placed, locks: [] }, ground).map(({ stretch }) => stretch)
  const frameOf = ({ from }: { readonly from: string }) => Number(readInstant(ground.clock, from, ground.sampleRateHz))
  const fresh = stretches.map((stretch) => ({ ...written(ground, stretch), toleranceDb }))
  const locks = [...sheet.fit.locks, ...fresh].toSorted((a, b) => frameOf(a) - frameOf(b))
  const isTooFar = handRidesOf(placed.gains).some(
    (ride) => overlaps(ride, range) && ride.points.some(({ gainDb }) => Math.abs(gainDb) > toleranceDb),
  )
  const ridden = isTooFar ? withoutRide(sheet, ground, placed.gains, range) : sheet
  const locked = { ...ridden, fit: { ...ridden.fit, locks } }
  const trims = placed.trims.flatMap((trim) => {
    if (!overlaps(trim, range) || Math.abs(trim.gainDb) <= toleranceDb) return [trim]
    const inside = {
      startFrame: Math.max(trim.startFrame, range.startFrame),
      endFrame: Math.min(trim.endFrame, range.endFrame),
    }
    return [...outside(trim, range), ...(toleranceDb > 0 ? [bounded(trim, inside, toleranceDb)] : [])]
  })
  return trims.length === placed.trims.length && trims.every((trim, i) => trim === placed.trims[i])
    ? locked
    : withTrims(locked, ground, trims)
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

function overlaps(a: FrameRange, b: FrameRange): boolean {
  return a.startFrame < b.endFrame && b.startFrame < a.endFrame
}

function within(gainDb: number, mostDb: number): number {
  return Math.max(-mostDb, Math.min(mostDb, gainDb))
}

function bounded(trim: Trim, stretch: FrameRange, mostDb: number): Trim {
  return { ...trim, ...stretch, gainDb: within(trim.gainDb, mostDb) }
}

/** Pieces that follow each other with one gain are one trim. */
function joined(pieces: readonly Trim[]): readonly Trim[] {
  const done: Trim[] = []
  for (const piece of pieces) {
    const last = done.at(-1)
    const goesOn = last !== undefined && last.endFrame === piece.startFrame && last.gainDb === piece.gainDb
    if (goesOn) done[done.length - 1] = { ...last, endFrame: piece.endFrame }
    else done.push(piece)
  }
  return done
}

/** What is left of a trim outside a range. */
function outside(trim: Trim, { startFrame, endFrame }: FrameRange): readonly Trim[] {
  if (trim.endFrame <= startFrame || endFrame <= trim.startFrame) return [trim]
  return [
    { ...trim, endFrame: startFrame },
    { ...trim, startFrame: endFrame },
  ].filter((piece) => piece.startFrame < piece.endFrame)
}

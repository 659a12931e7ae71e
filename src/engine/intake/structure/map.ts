import { type FoundTone, type FrameRange, type ProposedSegment, printFigure } from '../../../domain/index.ts'
import { type Act, overlap } from './acts.ts'
import type { TextlessSign } from './textless.ts'

/** Gaps shorter than this are no stretch of their own: the action beside them takes them in. */
const SHORTEST_GAP_SECONDS = 0.5

type Piece = Omit<ProposedSegment, 'name'>

/** Lays the map: acts, tones, leaders and textless elements in order, and what the gaps between them are. */
export function layMap(found: {
  readonly acts: readonly Act[]
  readonly tones: readonly FoundTone[]
  readonly beeps: readonly FoundTone[]
  readonly black: readonly FrameRange[]
  readonly textless: ReadonlyMap<Act, TextlessSign>
  readonly silenceDbfs: number
  readonly frameCount: number
  readonly sampleRateHz: number
}): ProposedSegment[] {
  const { acts, tones, frameCount, textless } = found
  const programme = acts.filter((act) => act.kind === 'programme' && !textless.has(act))
  const pieces: Piece[] = [
    ...acts.map((act): Piece => describeAct(act, acts, tones, textless)),
    ...tones.map((tone): Piece => describeTone(tone, programme)),
  ].toSorted((a, b) => a.startFrame - b.startFrame)
  const shortest = SHORTEST_GAP_SECONDS * found.sampleRateHz
  const map: Piece[] = []
  let at = 0
  for (const piece of [...pieces, null]) {
    const end = piece?.startFrame ?? frameCount
    const before = map.at(-1)
    if (end > at && end - at < shortest && (before?.kind === 'programme' || piece?.kind === 'programme')) {
      if (piece?.kind === 'programme') {
        map.push({ ...piece, startFrame: at })
        at = piece.endFrame
        continue
      }
      map[map.length - 1] = { ...before!, endFrame: end }
    } else if (end > at) {
      map.push(...describeGap({ startFrame: at, endFrame: end }, acts, programme, found))
    }
    if (piece !== null) map.push(piece)
    at = piece?.endFrame ?? end
  }
  return map.map((piece) => ({ ...piece, name: null }))
}

function describeAct(
  act: Act,
  acts: readonly Act[],
  tones: readonly FoundTone[],
  textless: ReadonlyMap<Act, TextlessSign>,
): Piece {
  const { startFrame, endFrame } = act
  if (act.kind === 'slate') {
    const evidence = ['A short sound between line-up tone and action.']
    return { kind: 'slate', startFrame, endFrame, confidence: 0.7, evidence }
  }
  const sign = textless.get(act)
  if (sign !== undefined) return { kind: 'textless', startFrame, endFrame, ...sign }
  const evidence = [
    ...(act.headPop === null ? [] : ['Its first frame stands two seconds behind the start of the 2-pop.']),
    ...(act.firstSound > startFrame ? ['It begins in silence.'] : []),
    ...(act.tailPop === null ? [] : ['A tail pop stands two seconds behind its last frame.']),
  ]
  const isLed = act.headPop !== null || tones.length === 0
  const confidence = act.headPop !== null ? 0.95 : isLed || acts.length === 1 ? 0.8 : 0.7
  return { kind: 'programme', startFrame, endFrame, confidence, evidence }
}

function describeTone(tone: FoundTone, programme: readonly Act[]): Piece {
  const { startFrame, endFrame, frequencyHz, levelDbfs, channels } = tone
  const isInside =
    programme.some((act) => act.endFrame <= startFrame) && programme.some((act) => act.startFrame >= endFrame)
  const name = tone.kind === 'interrupted' ? 'Interrupted tone' : 'Steady tone'
  const evidence = [
    `${name} of ${frequencyHz.toFixed(1)} Hz at ${printFigure(levelDbfs)} dBFS in ${channels.join(', ')}.`,
    ...(isInside ? ['It stands between two acts: a line-up that was left in.'] : []),
  ]
  return { kind: 'tone', startFrame, endFrame, confidence: 0.95, evidence }
}

function describeGap(
  gap: FrameRange,
  acts: readonly Act[],
  programme: readonly Act[],
  found: { readonly beeps: readonly FoundTone[]; readonly black: readonly FrameRange[]; readonly silenceDbfs: number },
): Piece[] {
  const first = programme[0]
  const last = programme.at(-1)
  const beeps = found.beeps.filter((beep) => overlap(beep, gap) > 0)
  const next = acts.find((act) => act.startFrame >= gap.endFrame)
  const isLeader = beeps.length > 0 && next?.kind === 'programme' && next.startFrame === gap.endFrame
  const tailPop = acts.findLast((act) => act.endFrame <= gap.startFrame)?.tailPop ?? null
  const leading = isLeader ? beeps.filter((beep) => beep.startFrame !== tailPop?.startFrame) : []
  if (leading.length > 0) {
    const start = leading[0]!.startFrame
    const leader: Piece = {
      kind: 'leader',
      startFrame: start,
      endFrame: gap.endFrame,
      confidence: next!.headPop === null ? 0.6 : 0.95,
      evidence: leading.map(sayBeep),
    }
    if (start <= gap.startFrame) return [leader]
    return [...describeGap({ ...gap, endFrame: start }, acts, programme, { ...found, beeps: [] }), leader]
  }
  const black = found.black.reduce((sum, range) => sum + overlap(range, gap), 0) / (gap.endFrame - gap.startFrame)
  const silence =
    black > 0.99
      ? 'Digital silence.'
      : beeps.length > 0
        ? 'Silence but for pops.'
        : `Nothing above ${printFigure(found.silenceDbfs, 0)} dBFS, but not digital silence.`
  const evidence = [silence, ...beeps.map(sayBeep)]
  const confidence = black > 0.99 ? 0.9 : 0.6
  if (first === undefined || gap.endFrame <= first.startFrame)
    return [{ ...gap, kind: 'silence', confidence, evidence }]
  if (gap.startFrame >= last!.endFrame) return [{ ...gap, kind: 'tail', confidence, evidence }]
  return [{ ...gap, kind: 'break', confidence, evidence }]
}

function sayBeep(beep: FoundTone): string {
  const name = beep.kind === 'pop' ? 'A pop' : 'A beep'
  return `${name} of ${beep.frequencyHz.toFixed(1)} Hz at ${printFigure(beep.levelDbfs)} dBFS in ${beep.channels.join(', ')}.`
}

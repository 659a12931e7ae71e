import {
  type DeliverableRole,
  type DeliverySpec,
  describeParts,
  type EnergyStretch,
  FINE_HOPS_PER_HOP,
  framesPerFineHop,
  framesPerHop,
  LAYOUTS,
  type LevelStep,
  type MeasuredPart,
  type Measurements,
  powerGains,
  type SpecLine,
  type SpeechLane,
  specLines,
  speechWithin,
  spokenWithin,
  type Trim,
  toHops,
  trimPoints,
  WhatIf,
  type WhatIfFigures,
  withDialogue,
} from '../../../domain/index.ts'

/** What a programme is searched by. All frames are those of the file. */
export type PassageSearch = {
  /** The stretches that are the programme, in order, each measured by itself. */
  readonly parts: readonly MeasuredPart[]
  /** Of the file. */
  readonly frameCount: number
  readonly spec: DeliverySpec
  readonly role: DeliverableRole
  /** Null where nobody listened for speech: then nothing is said to be too soft. */
  readonly speech: SpeechLane | null
  /** Places where everything changes its level at once; none where nobody looked. */
  readonly levelSteps: readonly LevelStep[]
}

/** A part with its energies on two grids, both beginning at its first frame. */
export type Part = MeasuredPart & {
  readonly endFrame: number
  readonly hops: Float64Array
  readonly isSpeech: Uint8Array | null
}

/** A programme ready to be asked. */
export type Programme = PassageSearch & {
  readonly pieces: readonly Part[]
  readonly sampleRateHz: number
  readonly hopFrames: number
  readonly measurements: Measurements
  readonly lines: readonly SpecLine[]
  readonly whatIf: WhatIf
  readonly asItIs: WhatIfFigures
}

export function programmeOf({ parts, frameCount, spec, role, speech, levelSteps }: PassageSearch): Programme {
  const sampleRateHz = (parts[0] as MeasuredPart).measured.sampleRateHz
  const hopFrames = framesPerHop(sampleRateHz)
  const pieces = parts.map((part) => ({
    ...part,
    endFrame: part.startFrame + part.measured.frameCount,
    hops: toHops(part.measured.programme10ms),
    isSpeech: speech === null ? null : speechWithin(speech, part),
    isSpoken: speech === null ? null : spokenWithin(speech, part),
  }))
  const whatIf = new WhatIf(
    pieces.map(
      ({ measured, startFrame, isSpoken }): EnergyStretch => ({
        powers10ms: measured.programme10ms,
        file: 0,
        firstFineHop: Math.round(startFrame / framesPerFineHop(sampleRateHz)),
        isSpeech100ms: isSpoken,
      }),
    ),
  )
  const described = describeParts(
    parts.map(({ measured }) => measured),
    frameCount,
  )
  const measurements = withDialogue(described, parts, speech)
  return {
    parts,
    frameCount,
    spec,
    role,
    speech,
    levelSteps,
    pieces,
    sampleRateHz,
    hopFrames,
    measurements,
    lines: specLines(measurements, spec, role),
    whatIf,
    asItIs: whatIf.under([null]),
  }
}

/**
 * The Lo/Ro fold-down of a programme as a programme of its own, with the lines that concern it; null where the layout has
 * none. Its frames are those of the file, and a trim on the mix is the same trim on it.
 */
export function foldedDown(programme: Programme): Programme | null {
  const lines = programme.lines.filter(({ field }) => field.startsWith('foldDown'))
  const parts = programme.parts.flatMap(({ startFrame, measured }) => {
    const { foldDown, foldDown10ms, foldDownTruePeak100ms } = measured
    if (foldDown === null || foldDown10ms === null) return []
    const folded = { ...measured, layout: '2.0', channels: foldDown, programme10ms: foldDown10ms } as const
    const alone = { truePeak100ms: foldDownTruePeak100ms, foldDown: null, foldDown10ms: null }
    return [{ startFrame, measured: { ...folded, ...alone } }]
  })
  return lines.length === 0 || parts.length === 0 ? null : { ...programmeOf({ ...programme, parts }), lines }
}

/** The figures under some trims, gates computed anew. */
export function figuresUnder(programme: Programme, trims: readonly Trim[]): WhatIfFigures {
  return programme.whatIf.under([pointsOf(programme, trims)])
}

function pointsOf({ frameCount, hopFrames }: Programme, trims: readonly Trim[]): Float64Array | null {
  return trimPoints(trims, Math.ceil(frameCount / hopFrames), hopFrames)
}

/** Mean power gains of some trims on every 10 ms of each part; null where there are none. */
export function gainsOnParts(programme: Programme, trims: readonly Trim[]): readonly Float64Array[] | null {
  const points = pointsOf(programme, trims)
  if (points === null) return null
  const fineFrames = programme.hopFrames / FINE_HOPS_PER_HOP
  return programme.pieces.map(({ startFrame, measured }) => {
    const first = Math.round(startFrame / fineFrames)
    return powerGains(points, first + measured.programme10ms.length).subarray(first)
  })
}

/** The 100 ms of each part under some trims. */
export function hopsUnder(programme: Programme, trims: readonly Trim[]): readonly Float64Array[] {
  const gains = gainsOnParts(programme, trims)
  return programme.pieces.map(({ hops, measured }, index) => {
    const gain = gains?.[index]
    return gain === undefined ? hops : toHops(measured.programme10ms.map((power, i) => power * (gain[i] as number)))
  })
}

/**
 * The 100 ms of each part under some trims in which a voice is judged: those of C where there is one, because there
 * somebody listened for it, and what plays beside it says nothing of how loud it is.
 */
export function voiceHopsUnder(programme: Programme, trims: readonly Trim[]): readonly Float64Array[] {
  const roles = LAYOUTS[programme.measurements.layout]
  const centre = roles.indexOf('C')
  const all = hopsUnder(programme, trims)
  if (centre < 0) return all
  return programme.pieces.map(({ hops, measured: { channels100ms } }, index) =>
    hops.map((power, hop) => {
      const gain = power > 0 ? ((all[index] as Float64Array)[hop] as number) / power : 1
      return gain * (channels100ms[hop * roles.length + centre] as number)
    }),
  )
}

/** A trim as this search puts it on a place: the shortest glide. */
export function trimOn(range: { readonly startFrame: number; readonly endFrame: number }, gainDb: number): Trim {
  return { startFrame: range.startFrame, endFrame: range.endFrame, gainDb, glideMs: 100, reason: null }
}

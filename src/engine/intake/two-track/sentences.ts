import { printFigure, type TwoTrackKind, type TwoTrackStretch } from '../../../domain/index.ts'
import type { JoinedEvidence, LookRange } from './programme.ts'
import type { State } from './rewards.ts'
import { splitFigures } from './split.ts'
import { describeRun } from './timecode.ts'

type Told = Omit<TwoTrackStretch, 'evidence'>

/** Why a stretch is called what it is, with the figures that say so. */
export function describeStretch(told: Told, state: State, joined: JoinedEvidence, looks: LookRange): string[] {
  const { figures, side, isInverted } = told
  const other = side === 'left' ? 'right' : 'left'
  switch (told.kind) {
    case 'silent':
      return ['Both tracks lie below -90 dBFS.']
    case 'one-sided':
      return [
        figures.levelDifferenceDb === null
          ? `The ${other} track is digitally silent while the ${side} one goes on.`
          : `The ${side} track is ${db(Math.abs(figures.levelDifferenceDb))} over the ${other} one, which holds no programme.`,
      ]
    case 'dual-mono':
      return [sameOnBoth(told)]
    case 'polarity-inverted':
      return [
        state.name === 'mono'
          ? `${sameOnBoth(told)} The right track is upside down (correlation ${printFigure(figures.rho ?? null, 2)}): in mono it is gone.`
          : `What should stand in the middle stands in antiphase: ${percent(figures.neg + figures.negU)} of the sound against ` +
            `${percent(figures.pos + figures.posU)} in phase, correlation ${printFigure(figures.rho ?? null, 2)}.`,
      ]
    case 'time-offset':
      return [offset(told), ...(isInverted ? ['It is also upside down.'] : [])]
    case 'tone-on-a-track':
      return [`The ${side} track holds a steady tone of ${figures.toneHz} Hz that the ${other} one does not have.`]
    case 'timecode-on-a-track':
      return timecode(joined, side)
    case 'split-track':
    case 'two-languages':
      return split(told, joined, looks)
    default:
      return stereo(told)
  }
}

function sameOnBoth({ figures }: Told): string {
  const difference = figures.levelDifferenceDb ?? 0
  const level = Math.abs(difference) < 0.1 ? 'at the same level' : `the left one ${db(difference)} over the right one`
  return `Both tracks hold the same, ${level}: what differs lies ${db(-(figures.residualDb ?? 0))} below the programme.`
}

function offset({ figures, side }: Told): string {
  const frames = Math.abs(figures.lagFrames ?? 0)
  const ms = Math.abs(figures.lagMicroseconds ?? 0) / 1000
  const doubt = ms < 0.25 ? ' A lone voice before two spaced microphones can look the same.' : ''
  return `The ${side} track is late by ${frames.toFixed(2)} samples (${ms.toFixed(3)} ms): there the tracks agree best, and not at lag 0.${doubt}`
}

function timecode({ labels }: JoinedEvidence, side: string | null): string[] {
  const runs = labels.filter((run) => run.side === side).map(describeRun)
  const first = runs[0]
  if (first === undefined) return []
  return [
    `The ${side} track holds linear timecode at ${first.rate} (measured ${first.measuredRate.toFixed(3)} frames a second), ` +
      `first label ${first.firstLabel}, last ${runs.at(-1)!.lastLabel}.`,
  ]
}

function split(told: Told, joined: JoinedEvidence, looks: LookRange): string[] {
  const figures = splitFigures(joined, looks)
  const same =
    figures === null ? '' : ` In ${percent(figures.sameShare)} of the time, between lines, both tracks are the same.`
  if (told.kind === 'two-languages') {
    return [`Both tracks share music and effects, and each has speech of its own that the other lacks.${same}`]
  }
  const other = told.side === 'left' ? 'right' : 'left'
  return [`The ${told.side} track holds all that the ${other} one holds, and speech besides.${same}`]
}

function stereo({ kind, figures }: Told): string[] {
  const middle = `${percent(figures.pos)} of the sound stands level and in phase, ${percent(figures.neg)} in antiphase.`
  if (kind === 'plain-stereo') {
    const shape =
      figures.negU > 1.5 * figures.neg && figures.negU > 0.1
        ? `Antiphase lies off the middle (${percent(figures.negU)}), as in stereo that was widened.`
        : 'Antiphase is no more frequent at equal level than any other phase: no surround signal was found.'
    return [middle, shape]
  }
  const exact =
    `Antiphase at exactly equal level, as a surround signal makes it, holds ${percent(figures.surroundShare)} more of the ` +
    `sound than chance, and up to ${percent(figures.surroundShareMax)} in 2 s.`
  const turned =
    `Balanced sound stands in antiphase more often than at any other phase: by ${percent(figures.antiphaseQuarterShare)} of ` +
    'the sound, as noise in a surround signal makes it.'
  return [middle, figures.surroundShare > 0.001 ? exact : turned]
}

const ADVICE: Readonly<Record<TwoTrackKind, string | null>> = {
  silent: null,
  'one-sided':
    'Find the other track, or treat the programme as mono: upmixing one track leaves everything on its side.',
  'dual-mono': 'Treat it as mono: it has no stereo to unfold, and all of it belongs in the centre.',
  'polarity-inverted': 'Flip the polarity of the right track there before anything else is made from it.',
  'time-offset': 'Align the tracks there before anything else is made from them.',
  'matrix-encoded': 'Decode it: upmix with `--kind lt-rt`.',
  'possibly-matrix-encoded':
    'Ask what it is, or listen to L - R: if there is a surround signal, upmix with `--kind lt-rt`.',
  'plain-stereo': null,
  'split-track': 'Use the track with dialogue as the mix and the other one as M&E; do not upmix them as stereo.',
  'two-languages': 'Take the two tracks apart: they are two mono mixes, one a language.',
  'tone-on-a-track': 'Leave the tone out of what is measured and mixed.',
  'timecode-on-a-track':
    'Take the timecode track away before anything is measured or mixed, and use its labels for the start.',
}

/** What to do, once for each kind that is there. */
export function adviceFor(stretches: readonly TwoTrackStretch[]): string[] {
  const kinds = new Set(stretches.map(({ kind }) => kind))
  return [...kinds].map((kind) => ADVICE[kind]).filter((advice) => advice !== null)
}

function db(value: number): string {
  return `${printFigure(value)} dB`
}

function percent(share: number): string {
  return `${(100 * share).toFixed(Math.abs(share) < 0.1 ? 1 : 0)} %`
}

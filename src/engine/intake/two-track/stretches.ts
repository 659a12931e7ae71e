import {
  powerToDb,
  type TrackSide,
  type TwoTrackFigures,
  type TwoTrackKind,
  type TwoTrackStretch,
} from '../../../domain/index.ts'
import { framesPerLook, LOOKS_PER_SECOND } from './grid.ts'
import { judgeMatrix, type MatrixSigns, matrixSigns } from './matrix.ts'
import { median, rounded } from './numbers.ts'
import { type JoinedEvidence, type LookRange, lagCellOf, residualOf, sumOver } from './programme.ts'
import type { Run } from './runs.ts'
import { describeStretch } from './sentences.ts'

/** Turns a run of looks into what the mixer is told of it. */
export function stretchOf(joined: JoinedEvidence, run: Run, sampleRateHz: number, frameCount: number): TwoTrackStretch {
  const signs = matrixSigns(joined, run)
  const seconds = (run.to - run.from) / LOOKS_PER_SECOND
  const kind = kindOf(run, signs)
  const figures = figuresOf(joined, run, signs, sampleRateHz)
  const lookFrames = framesPerLook(sampleRateHz)
  const told = {
    startFrame: run.from * lookFrames,
    endFrame: Math.min(frameCount, run.to * lookFrames),
    kind,
    side: sideOf(run, figures),
    isInverted: 'isInverted' in run.state && run.state.isInverted,
    confidence: confidenceOf(kind, run, figures, signs, seconds),
    figures,
  }
  return { ...told, evidence: describeStretch(told, run.state, joined, run) }
}

function kindOf({ state }: Run, signs: MatrixSigns): TwoTrackKind {
  switch (state.name) {
    case 'stereo':
      return state.isInverted ? 'polarity-inverted' : judgeMatrix(signs)
    case 'mono':
      return state.isInverted ? 'polarity-inverted' : 'dual-mono'
    case 'offset':
      return 'time-offset'
    case 'tone':
      return 'tone-on-a-track'
    case 'timecode':
      return 'timecode-on-a-track'
    case 'split':
      return 'split-track'
    default:
      return state.name
  }
}

function sideOf({ state }: Run, figures: TwoTrackFigures): TrackSide | null {
  if ('side' in state) return state.side
  if (state.name === 'offset') return (figures.lagFrames ?? 0) > 0 ? 'right' : 'left'
  return null
}

function figuresOf(joined: JoinedEvidence, run: Run, signs: MatrixSigns, sampleRateHz: number): TwoTrackFigures {
  const left = sumOver(joined, 'leftPower', run)
  const right = sumOver(joined, 'rightPower', run)
  const isBoth = left > 0 && right > 0
  const lag = run.state.name === 'offset' ? lagOf(joined, run, run.state.lagMicroseconds) : null
  return {
    levelDifferenceDb: isBoth ? rounded(powerToDb(left / right), 2) : null,
    rho: isBoth ? rounded(sumOver(joined, 'crossPower', run) / Math.sqrt(left * right), 4) : null,
    residualDb: isBoth ? rounded(residualDb(joined, run), 1) : null,
    lagFrames: lag === null ? null : rounded((lag * sampleRateHz) / 1e6, 2),
    lagMicroseconds: lag === null ? null : rounded(lag, 1),
    pos: rounded(signs.pos, 4),
    neg: rounded(signs.neg, 4),
    posU: rounded(signs.posU, 4),
    negU: rounded(signs.negU, 4),
    surroundShare: rounded(signs.sharpShare, 4),
    surroundShareMax: rounded(signs.sharpShareMax, 4),
    surroundSharpness: rounded(Math.min(1, signs.sharpness), 3),
    antiphaseQuarterShare: rounded(signs.quarterShare, 4),
    antiphaseAsideRatio: rounded(Math.min(99, signs.asideRatio), 3),
    toneHz: run.state.name === 'tone' ? rounded(toneHz(joined, run, run.state.side), 1) : null,
  }
}

/** Power-weighted over the looks that are no pause. */
function residualDb(joined: JoinedEvidence, run: LookRange): number {
  let residual = 0
  let power = 0
  for (let look = run.from; look < run.to; look++) {
    if (joined.isPause[look] === 1) continue
    const both = joined.looks.leftPower[look]! + joined.looks.rightPower[look]!
    residual += residualOf(joined, look) * both
    power += both
  }
  return powerToDb(residual / (power + 1e-30) + 1e-7)
}

const SAME_LAG_MICROSECONDS = 30

/** Median of the cells that agree with the lag of the run, in microseconds. */
function lagOf({ lags }: JoinedEvidence, run: LookRange, lag: number): number {
  const cells = lags.lagMicroseconds.subarray(lagCellOf(run.from), lagCellOf(run.to - 1) + 1)
  const agreeing = Array.from(cells).filter((each) => Math.abs(each - lag) < SAME_LAG_MICROSECONDS)
  return agreeing.length > 0 ? median(agreeing) : lag
}

function toneHz({ looks }: JoinedEvidence, run: LookRange, side: TrackSide): number {
  return median(Array.from(looks[`${side}LineHz`].subarray(run.from, run.to)))
}

function confidenceOf(
  kind: TwoTrackKind,
  run: Run,
  figures: TwoTrackFigures,
  signs: MatrixSigns,
  seconds: number,
): number {
  const byKind = () => {
    switch (kind) {
      case 'matrix-encoded':
        return 0.75 + 0.24 * Math.min(1, Math.max(signs.sharpShare / 0.03, signs.sharpShareMax / 0.2))
      case 'possibly-matrix-encoded':
        return 0.5
      case 'plain-stereo':
        return signs.pos < 0.1 ? 0.6 : 0.9 - 0.3 * Math.min(1, Math.max(0, signs.sharpShare / 0.0013))
      case 'polarity-inverted':
        return 0.7 + 0.29 * Math.min(1, Math.max(0, -(figures.rho ?? 0)))
      case 'time-offset':
        return Math.abs(figures.lagMicroseconds ?? 0) < 250 ? 0.7 : 0.7 + 0.29 * Math.min(1, run.leadPerLook / 0.4)
      default:
        return 0.7 + 0.29 * Math.min(1, Math.max(0, run.leadPerLook / 0.8))
    }
  }
  return rounded(byKind() * Math.min(1, 0.6 + 0.08 * seconds), 2)
}

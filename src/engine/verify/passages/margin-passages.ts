import {
  distanceInside,
  FINE_HOPS_PER_HOP,
  loudnessRangeEdges,
  powerOf,
  printFigure,
  SHORT_TERM_SECONDS,
  type SpecLine,
} from '../../../domain/index.ts'
import type { Found } from './describe.ts'
import { hopsUnder, type Programme } from './programme.ts'
import { stretchesWhere } from './stretches.ts'

const MOST_MARGINS = 3
const MOMENTARY_SECONDS = 0.4

/** The lines of a conforming programme that are met with the least room, and where that is. */
export function marginPassages(programme: Programme, foldDown: Programme | null): readonly Found[] {
  return programme.lines
    .filter((line): line is SpecLine & { measured: number } => line.measured !== null)
    .toSorted((a, b) => distanceInside(a, a.measured) - distanceInside(b, b.measured))
    .flatMap((line) => {
      const heard = line.field.startsWith('foldDown') ? foldDown : programme
      const place = heard === null ? null : placeOf(heard, line.field)
      return place === null ? [] : [marginOf(line, line.measured, place)]
    })
    .slice(0, MOST_MARGINS)
}

type Span = { readonly startFrame: number; readonly endFrame: number; readonly peakFrame: number }

/** Where a line's figure stands: its window or its peak, the longest stretch at the loud end of the range, or all of it. */
function placeOf(programme: Programme, field: string): Span | null {
  const { asItIs, pieces, sampleRateHz, hopFrames } = programme
  const window = (startSeconds: number | undefined, seconds: number): Span | null => {
    if (startSeconds === undefined) return null
    const startFrame = Math.round(startSeconds * sampleRateHz)
    return {
      startFrame,
      endFrame: startFrame + seconds * sampleRateHz,
      peakFrame: startFrame + (seconds * sampleRateHz) / 2,
    }
  }
  if (field === 'maxShortTermLkfs') return window(asItIs.shortTerm?.startSeconds, SHORT_TERM_SECONDS)
  if (field === 'maxMomentaryLkfs') return window(asItIs.momentary?.startSeconds, MOMENTARY_SECONDS)
  if (field.endsWith('maxTruePeakDbtp')) {
    const peaks = pieces.flatMap(({ measured, startFrame }) =>
      measured.channels.map(({ truePeak }) => ({
        value: truePeak.value,
        frame: startFrame + truePeak.frameIndex,
      })),
    )
    const [highest] = peaks.toSorted((a, b) => b.value - a.value)
    if (highest === undefined) return null
    const part = pieces.find(({ startFrame, endFrame }) => highest.frame >= startFrame && highest.frame < endFrame)
    const startFrame = Math.max(part?.startFrame ?? 0, Math.round(highest.frame - hopFrames / 2))
    const endFrame = Math.min(part?.endFrame ?? programme.frameCount, startFrame + hopFrames)
    return { startFrame, endFrame, peakFrame: highest.frame }
  }
  if (field === 'loudnessRangeLu') return longestAtLoudEnd(programme)
  const [first, last] = [pieces[0], pieces.at(-1)]
  if (first === undefined || last === undefined) return null
  const loudest = window(asItIs.shortTerm?.startSeconds, SHORT_TERM_SECONDS)
  const fineFrames = hopFrames / FINE_HOPS_PER_HOP
  return {
    startFrame: first.startFrame,
    endFrame: last.endFrame,
    peakFrame: Math.round((loudest?.peakFrame ?? first.startFrame) / fineFrames) * fineFrames,
  }
}

function longestAtLoudEnd(programme: Programme): Span | null {
  const hops = hopsUnder(programme, [])
  const edges = loudnessRangeEdges(hops)
  if (edges === null) return null
  const bound = powerOf(edges.loudLkfs)
  const loud = stretchesWhere(programme, hops, (power) => power >= bound)
  const lengthOf = ({ startFrame, endFrame }: Span) => endFrame - startFrame
  const [longest] = loud.toSorted((a, b) => lengthOf(b) - lengthOf(a))
  if (longest === undefined) return null
  const { startFrame, endFrame, peakFrame } = longest
  return { startFrame, endFrame, peakFrame }
}

function marginOf(line: SpecLine, measured: number, place: Span): Found {
  const room = distanceInside(line, measured)
  const unit = line.unit === 'dBTP' ? 'dB' : 'LU'
  return {
    kind: 'thinnest-margin',
    line: line.field,
    ...place,
    measured,
    allowed: line.low === null ? line.high : [line.low, line.high],
    unit: line.unit,
    excess: -room,
    source: line.source,
    suggestedTrimDb: null,
    message:
      `${line.name[0]?.toUpperCase()}${line.name.slice(1)} is ${printFigure(measured)} ${line.unit}, with ` +
      `${printFigure(room)} ${unit} of room: nothing to do, but the least room of the programme.`,
  }
}

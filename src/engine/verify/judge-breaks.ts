import { type Finding, gainToDb, type MeasuredPart, printFigure, printTime } from '../../domain/index.ts'

/** What counts as silent in a break: nothing that a listener could hear at programme level. Common practice. */
const SILENT_DBFS = -60

/** Breaks that are not silent: a map that is wrong, or sound that was left between the acts. */
export function judgeBreaks(breaks: readonly MeasuredPart[]): readonly Finding[] {
  return breaks.flatMap(({ startFrame, measured }) => {
    const { sampleRateHz, frameCount } = measured
    const highest = measured.channels
      .map(({ samplePeak }) => samplePeak)
      .reduce((kept, peak) => (peak.value > kept.value ? peak : kept))
    const peakDbfs = highest.value > 0 ? gainToDb(highest.value) : Number.NEGATIVE_INFINITY
    if (peakDbfs <= SILENT_DBFS) return []
    const secondsAt = (frame: number) => frame / sampleRateHz
    const where = printTime(secondsAt(startFrame + highest.frameIndex), 1)
    return [
      {
        id: 'break-not-silent',
        severity: 'warn',
        line: 'samplePeakDbfs',
        measured: peakDbfs,
        allowed: SILENT_DBFS,
        unit: 'dBFS',
        at: { startSeconds: secondsAt(startFrame), endSeconds: secondsAt(startFrame + frameCount), timecode: null },
        source: 'common practice',
        message:
          `The break at ${printTime(secondsAt(startFrame), 1)} is not silent: it reaches ${printFigure(peakDbfs)} dBFS at ` +
          `${where}; check whether the map or the master is wrong.`,
      } as const,
    ]
  })
}

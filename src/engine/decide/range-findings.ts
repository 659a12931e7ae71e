import {
  type DeliverySpec,
  type Finding,
  HOPS_PER_SECOND,
  type Place,
  printFigure,
  printTime,
  SHORT_TERM_SECONDS,
  windowMeans,
} from '../../domain/index.ts'
import type { LevelledHome } from './level-scenes.ts'

/** Tells that the ride worked on the loudness range, or that it could not bring it to its line, and where. */
export function findingsOfRange({ range, model, home, settings }: LevelledHome, spec: DeliverySpec): Finding[] {
  const line = spec.maxLoudnessRangeLu
  if (range === null || line === undefined) return []
  const { document, edition, clause } = line.source
  const shared = {
    line: 'loudnessRangeLu',
    measured: range.afterLu,
    allowed: line.value,
    unit: 'LU',
    source: `${document} (${edition}): ${clause}`,
  } as const
  if (range.isMet) {
    return [
      {
        ...shared,
        id: 'range-ridden',
        severity: 'note',
        at: null,
        message:
          `The ride brought the loudness range from ${printFigure(range.beforeLu)} to ${printFigure(range.afterLu)} LU, because ` +
          'the spec makes it a limit. EBU Tech 3343 calls the range an indicator: ask the recipient whether the line binds.',
      },
    ]
  }
  const { loudest, softest } = farthestApart(model.programmeHops(model.gainsAt(home.homeDb)))
  return [
    {
      ...shared,
      id: 'range-out-of-reach',
      severity: 'fail',
      at: loudest,
      message:
        `The ride brings the loudness range no lower than ${printFigure(range.afterLu)} LU inside the other lines, locks and ` +
        `limits, with slews of ${settings.rideSlewDbPerSecond} dB/s; the line is ${printFigure(line.value)} LU. Loudest from ` +
        `${printTime(loudest.startSeconds)}, softest from ${printTime(softest.startSeconds)}. Bring these scenes closer ` +
        'together in the mix, take locks off them, or agree on another range.',
    },
  ]
}

/** The loudest and the softest window that is heard at all. */
function farthestApart(hops: Float64Array): { readonly loudest: Place; readonly softest: Place } {
  const length = SHORT_TERM_SECONDS * HOPS_PER_SECOND
  const windows = windowMeans(hops, length)
  let [high, low] = [0, 0]
  for (const [first, power] of windows.entries()) {
    if (power > (windows[high] as number)) high = first
    if (power > 0 && (power < (windows[low] as number) || windows[low] === 0)) low = first
  }
  const place = (first: number): Place => ({
    startSeconds: first / HOPS_PER_SECOND,
    endSeconds: (first + length) / HOPS_PER_SECOND,
    timecode: null,
  })
  return { loudest: place(high), softest: place(low) }
}

import { basename } from 'node:path'
import { loudnessPicture, placesOfPassages } from '../report/index.ts'
import type { MeasuredFile } from './measure.ts'

/** The loudness of a measured file over time as an SVG picture, against its spec if it has one. */
export function measuredPicture({ path, conforms, measurements, startOfDaySeconds, drawn }: MeasuredFile): string {
  const { spec, history, lanes, passages } = drawn
  const name = basename(path)
  const verdict = spec === null ? '' : `: ${conforms ? 'conforms' : 'does not conform'} to ${spec.title}`
  const picture = {
    subject: name,
    spec,
    durationSeconds: measurements.durationSeconds,
    startOfDaySeconds,
    drawn: history,
    beside: null,
    figures: measurements,
    places: placesOfPassages(passages, measurements.sampleRateHz),
    lanes,
  }
  return loudnessPicture(picture, name + verdict)
}

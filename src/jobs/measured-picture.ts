import { basename } from 'node:path'
import type { DeliverySpec } from '../domain/index.ts'
import { loudnessPicture, type PicturedPlace } from '../report/index.ts'
import type { MeasuredFile } from './measure.ts'

/** The loudness of a measured file over time as an SVG picture, against a spec if one is given. */
export function measuredPicture(
  file: MeasuredFile,
  spec: DeliverySpec | null,
  places: readonly PicturedPlace[] = [],
): string {
  const name = basename(file.path)
  const verdict = spec === null ? '' : `: ${file.conforms ? 'conforms' : 'does not conform'} to ${spec.title}`
  const picture = {
    subject: name,
    spec,
    durationSeconds: file.measurements.durationSeconds,
    startOfDaySeconds: file.startOfDaySeconds,
    drawn: file.drawn.history,
    beside: null,
    figures: file.measurements,
    places,
    lanes: file.drawn.lanes,
  }
  return loudnessPicture(picture, name + verdict)
}

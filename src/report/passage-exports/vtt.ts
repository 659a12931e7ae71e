import { labelAt, type Passage } from '../../domain/index.ts'
import { inTime, type MarkedProgramme, oneLine, passageName } from './marked-programme.ts'

/**
 * Passages as cues of a text track: shown over the picture while the passage runs. Times count from the first frame;
 * where there is timecode, it stands in the cue.
 * @source W3C WebVTT: The Web Video Text Tracks Format
 */
export function passagesVtt(programme: MarkedProgramme): string {
  const cues = inTime(programme.passages).map((passage) => cueOf(passage, programme))
  return ['WEBVTT\n', ...cues].join('\n')
}

function cueOf(passage: Passage, { clock, sampleRateHz }: MarkedProgramme): string {
  const start = Math.round((passage.startFrame / sampleRateHz) * 1000)
  const end = Math.max(start + 1, Math.round((passage.endFrame / sampleRateHz) * 1000))
  const where = clock === null ? '' : `${labelAt(clock, passage.startFrame)} to ${labelAt(clock, passage.endFrame)}\n`
  const text = [passageName(passage), passage.message].map((line) => escaped(oneLine(line))).join('\n')
  return `${passage.rank}\n${timestamp(start)} --> ${timestamp(end)}\n${where}${text}\n`
}

/** Text of a cue; escaping `>` also keeps an arrow from being read as a time line. */
function escaped(text: string): string {
  return text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;')
}

function timestamp(ms: number): string {
  const two = (number: number) => String(number).padStart(2, '0')
  const seconds = Math.floor(ms / 1000)
  const clock = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60].map(two).join(':')
  return `${clock}.${String(ms % 1000).padStart(3, '0')}`
}

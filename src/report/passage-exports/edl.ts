import { formatLabel, labelAt, pictureAt } from '../../domain/index.ts'
import { asciiLine, type ClockedProgramme, inTime, MARKER_COLOURS, passageName } from './marked-programme.ts'

const REEL_CELLS = 8
const COLOUR_CELLS = 8
/** The usual name of a source that is on no reel. */
const NO_REEL = 'AX'
const LONGEST_TITLE = 70

/**
 * Passages as markers of an edit decision list: one event, the whole programme at its own timecode, so that a list of
 * any length stays inside three digits. Text is ASCII.
 * @source CMX 3600 list, marker comment lines as OpenTimelineIO reads them (`* LOC:` timecode, colour, text)
 */
export function passagesEdl(programme: ClockedProgramme): string {
  const { fileName, channelCount, frameCount, clock, passages } = programme
  const { format, startPicture } = clock
  const pictureCount = pictureAt(clock, frameCount - 1) + 1
  const [first, end] = [labelAt(clock, 0), formatLabel(format, startPicture + pictureCount)]
  const track = (channelCount === 1 ? 'A' : 'AA').padEnd(5)
  const lines = [
    `TITLE: ${asciiLine(fileName).slice(0, LONGEST_TITLE)}`,
    `FCM: ${format.dropFrame ? 'DROP FRAME' : 'NON-DROP FRAME'}`,
    '',
    `001  ${reelOf(fileName).padEnd(REEL_CELLS)} ${track} C        ${first} ${end} ${first} ${end}`,
    `* FROM CLIP NAME: ${asciiLine(fileName)}`,
    ...inTime(passages).map((passage) => {
      const colour = MARKER_COLOURS[passage.kind].padEnd(COLOUR_CELLS)
      return `* LOC: ${labelAt(clock, passage.startFrame)} ${colour}${asciiLine(passageName(passage))}`
    }),
  ]
  return lines.map((line) => `${line}\r\n`).join('')
}

/** A reel is named by at most eight capitals and digits. */
function reelOf(fileName: string): string {
  const ending = /\.[^.]*$/
  const letters = asciiLine(fileName.replace(ending, ''))
    .toUpperCase()
    .replace(/[^A-Z0-9]/g, '')
  return letters.slice(0, REEL_CELLS) || NO_REEL
}

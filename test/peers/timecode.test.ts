// Labels against FFmpeg, which counts pictures itself: it writes the number of a label into the timecode track of a
// QuickTime file (QuickTime File Format, timecode sample: 32-bit big-endian count of pictures since 00:00:00:00).
import { execFileSync } from 'node:child_process'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { formatLabel, frameRateFraction, picturesPerDay, type TimecodeFormat } from '../../src/domain/index.ts'
import { run, temporaryFolder } from '../testkit/wav.ts'

const folder = temporaryFolder()

function countByFfmpeg({ rate }: TimecodeFormat, label: string): number {
  const path = join(folder, 'one-picture.mov')
  const { numerator, denominator } = frameRateFraction(rate)
  const picture = ['-f', 'lavfi', '-i', `color=size=16x16:rate=${numerator}/${denominator}`, '-frames:v', '1']
  execFileSync('ffmpeg', ['-v', 'error', '-y', ...picture, '-timecode', label, '-c:v', 'mjpeg', path])
  return run('ffmpeg', '-v', 'error', '-i', path, '-map', '0:d', '-c', 'copy', '-f', 'data', '-').readUInt32BE(0)
}

const FORMATS: readonly TimecodeFormat[] = [
  { rate: '29.97', dropFrame: true },
  { rate: '59.94', dropFrame: true },
  { rate: '29.97', dropFrame: false },
  { rate: '23.976', dropFrame: false },
  { rate: '25', dropFrame: false },
  { rate: '50', dropFrame: false },
]

test.each(FORMATS)('%o: labels of a day are counted as FFmpeg counts them', (format) => {
  const last = picturesPerDay(format) - 1
  const minute = Math.round(Number(format.rate)) * 60
  // Both sides of the first minute, the first minute that drops nothing, an hour of drop-frame, and all over the day.
  const pictures = [minute - 1, minute, minute * 10 - 18, 107892, Math.floor(last / 3), last]
  for (const picture of pictures) expect(countByFfmpeg(format, formatLabel(format, picture))).toBe(picture)
})

// What others read of a finished WAV file: FFmpeg, libebur128, NumPy.
import { execFileSync } from 'node:child_process'
import { createHash } from 'node:crypto'
import { readFileSync } from 'node:fs'
import { libebur128Probe } from '../peers/outside-meters.ts'

const FFMPEG_BUFFER_BYTES = 1 << 28

export type OutsideFigures = {
  readonly layout: string
  readonly programmeLoudnessLkfs: number
  readonly maxTruePeakDbtp: number
}

const known = new Map<string, unknown>()

/** A finished file is read once by each meter, however many tests look at it. */
function once<T>(key: string, read: () => T): T {
  if (!known.has(key)) known.set(key, read())
  return known.get(key) as T
}

/** FFmpeg's last reading of the file itself, by the layout that its header tells FFmpeg. */
export function readWavByFfmpeg(path: string): OutsideFigures & {
  readonly maxShortTermLkfs: number
  readonly maxMomentaryLkfs: number
  readonly loudnessRangeLu: number
} {
  return once(`ffmpeg ${path}`, () => {
    const probe = ['-v', 'error', '-show_entries', 'stream=channel_layout', '-of', 'csv=p=0', path]
    const layout = execFileSync('ffprobe', probe, { encoding: 'utf8' }).trim()
    // The summary has one decimal only, so the figures are taken from the metadata of the frames.
    const filter = ['-af', 'ebur128=peak=true:metadata=1,ametadata=print:file=-', '-f', 'null', '-']
    const args = ['-v', 'error', '-i', path, ...filter]
    const printed = execFileSync('ffmpeg', args, { encoding: 'utf8', maxBuffer: FFMPEG_BUFFER_BYTES })
    const values = (key: string) =>
      [...printed.matchAll(new RegExp(`^${key}=(.*)$`, 'gm'))].map(([, text]) => Number(text))
    return {
      layout,
      programmeLoudnessLkfs: values('lavfi[.]r128[.]I').at(-1) as number,
      loudnessRangeLu: values('lavfi[.]r128[.]LRA').at(-1) as number,
      maxShortTermLkfs: Math.max(...values('lavfi[.]r128[.]S').slice(SHORT_TERM_FIRST_READING)),
      maxMomentaryLkfs: Math.max(...values('lavfi[.]r128[.]M').slice(MOMENTARY_FIRST_READING)),
      maxTruePeakDbtp: 20 * Math.log10(Math.max(...values('lavfi[.]r128[.]true_peaks_ch\\d+'))),
    }
  })
}

/** FFmpeg tells a reading every 100 ms; the first full 3 s window ends with the thirtieth, of 0.4 s with the fourth. */
const SHORT_TERM_FIRST_READING = 29
const MOMENTARY_FIRST_READING = 3

type LibraryFigures = Omit<OutsideFigures, 'layout'> & { readonly maxShortTermLkfs: number | null }

/** libebur128 on the samples of the file; `full` also polls short-term loudness, which takes long. */
export function readWavByLibebur128(path: string, mode: 'fast' | 'full' = 'fast'): LibraryFigures {
  return once(`libebur128 ${mode} ${path}`, () => {
    const { dataByteOffset, frameCount, channelCount, sampleRateHz, bits } = wavShape(path)
    const args = [path, dataByteOffset, frameCount, channelCount, sampleRateHz, bits, mode].map(String)
    const read = JSON.parse(execFileSync(libebur128Probe(), args, { encoding: 'utf8' }))
    return { ...read, maxTruePeakDbtp: 20 * Math.log10(Math.max(...read.truePeaks)) }
  })
}

/** A stretch of a 24-bit WAV file in frames, [start, end). */
export type Piece = { readonly path: string; readonly startFrame: number; readonly endFrame: number }

/** All of a WAV file. */
export function wholePiece(path: string): Piece {
  return { path, startFrame: 0, endFrame: wavShape(path).frameCount }
}

/** What libebur128 makes of several stretches together: one gate over the blocks of all, none of which joins two. */
export function readTogetherByLibebur128(pieces: readonly Piece[]): {
  readonly programmeLoudnessLkfs: number
  readonly loudnessRangeLu: number
} {
  const shapes = pieces.map(({ path }) => wavShape(path))
  const { channelCount, sampleRateHz } = shapes[0] as (typeof shapes)[number]
  const places = pieces.flatMap(({ path, startFrame, endFrame }, index) => {
    const { dataByteOffset } = shapes[index] as (typeof shapes)[number]
    return [path, dataByteOffset + startFrame * channelCount * 3, endFrame - startFrame]
  })
  const args = [channelCount, sampleRateHz, ...places].map(String)
  return JSON.parse(execFileSync(libebur128Probe('libebur128-reels'), args, { encoding: 'utf8' }))
}

/** The frames of a stretch of a 24-bit WAV file, as they lie there. */
export function framesOf({ path, startFrame, endFrame }: Piece): Buffer {
  const { dataByteOffset, channelCount } = wavShape(path)
  const frameBytes = channelCount * 3
  return readFileSync(path).subarray(dataByteOffset + startFrame * frameBytes, dataByteOffset + endFrame * frameBytes)
}

/** What the chunks of a RIFF file say. @source Microsoft and IBM, Multimedia Programming Interface 1.0 (1991), RIFF */
export function wavShape(path: string) {
  const bytes = readFileSync(path)
  const shape = { dataByteOffset: 0, frameCount: 0, channelCount: 0, sampleRateHz: 0, bits: 0, mask: 0 }
  for (let at = 12; at + 8 <= bytes.length; ) {
    const name = bytes.toString('latin1', at, at + 4)
    const size = bytes.readUInt32LE(at + 4)
    if (name === 'fmt ') {
      shape.channelCount = bytes.readUInt16LE(at + 10)
      shape.sampleRateHz = bytes.readUInt32LE(at + 12)
      shape.bits = bytes.readUInt16LE(at + 22)
      if (size >= 40) shape.mask = bytes.readUInt32LE(at + 28)
    }
    if (name === 'data') {
      shape.dataByteOffset = at + 8
      shape.frameCount = size / (shape.channelCount * (shape.bits / 8))
    }
    at += 8 + size + (size % 2)
  }
  return shape
}

/** One of the comparisons of outside.py; files are read by NumPy alone. */
export function byNumpy<T = Record<string, number>>(comparison: string, ...args: readonly (string | number)[]): T {
  const script = new URL('outside.py', import.meta.url).pathname
  return JSON.parse(execFileSync('/usr/bin/python3', [script, comparison, ...args.map(String)], { encoding: 'utf8' }))
}

export function sha256(path: string): string {
  return createHash('sha256').update(readFileSync(path)).digest('hex')
}

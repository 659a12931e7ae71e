// What libebur128 and FFmpeg read of raw 24-bit PCM.
import { execFileSync } from 'node:child_process'
import { existsSync, mkdirSync, statSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { LAYOUTS, type LayoutName } from '../../src/domain/index.ts'

export type RawProgramme = {
  /** Interleaved little-endian 24-bit PCM without a header. */
  readonly path: string
  readonly layout: LayoutName
  readonly sampleRateHz: number
  readonly frameCount: number
}

export type OutsideReading = {
  readonly programmeLoudnessLkfs: number
  readonly loudnessRangeLu: number
  /** Null where momentary and short-term were not polled. */
  readonly maxMomentaryLkfs: number | null
  readonly maxShortTermLkfs: number | null
  /** Linear, in channel order. */
  readonly truePeaks: readonly number[]
}

const root = fileURLToPath(new URL('../../', import.meta.url))

/** Compiles the probe if it is missing or older than its source, and gives its path. */
export function libebur128Probe(name: 'libebur128-probe' | 'libebur128-reels' = 'libebur128-probe'): string {
  const probe = `${root}build/${name}`
  const source = `${root}test/peers/${name}.c`
  if (!existsSync(probe) || statSync(probe).mtimeMs < statSync(source).mtimeMs) {
    mkdirSync(`${root}build`, { recursive: true })
    execFileSync('gcc', ['-O3', '-march=native', '-o', probe, source, '-lebur128', '-lm'])
  }
  return probe
}

/** libebur128; `full` also polls momentary and short-term at 100 Hz. */
export function readByLibebur128(
  { path, layout, sampleRateHz, frameCount }: RawProgramme,
  mode: 'fast' | 'full',
): OutsideReading {
  const shape = [0, frameCount, LAYOUTS[layout].length, sampleRateHz, 24, mode]
  return JSON.parse(execFileSync(libebur128Probe(), [path, ...shape.map(String)], { encoding: 'utf8' }))
}

const FFMPEG_LAYOUT: Readonly<Record<LayoutName, string>> = {
  mono: 'mono',
  '2.0': 'stereo',
  '5.0': '5.0',
  '5.1': '5.1',
  '7.1': '7.1',
}

/** FFmpeg's last reading of programme loudness and range, from its metadata (its summary has one decimal). */
export function readByFfmpeg({ path, layout, sampleRateHz }: RawProgramme): {
  readonly programmeLoudnessLkfs: number
  readonly loudnessRangeLu: number
} {
  const channels = ['-ac', String(LAYOUTS[layout].length), '-channel_layout', FFMPEG_LAYOUT[layout]]
  const input = ['-f', 's24le', '-ar', String(sampleRateHz), ...channels, '-i', path]
  const filter = ['-af', 'ebur128=metadata=1,ametadata=print:file=-', '-f', 'null', '-']
  const printed = execFileSync('ffmpeg', ['-v', 'error', ...input, ...filter], {
    encoding: 'utf8',
    maxBuffer: 1 << 28,
  })
  const last = (key: string) => Number(printed.slice(printed.lastIndexOf(`${key}=`) + key.length + 1).split('\n')[0])
  return { programmeLoudnessLkfs: last('lavfi.r128.I'), loudnessRangeLu: last('lavfi.r128.LRA') }
}

import { spawnSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'

/** The rate of every test mix. */
export const RATE = 48000

const SOUND_FONT = '/usr/share/sounds/sf2/FluidR3_GM.sf2'
const SPEECH_RATE = 22050

/** A line spoken by the synthesiser `espeak-ng`, at 48 kHz. */
export function speak(line: string, voice: string, wordsPerMinute: number): Float64Array {
  const wav = run('espeak-ng', ['-v', voice, '-s', String(wordsPerMinute), '--stdout', line])
  // It writes a plain 44-byte header, then 16-bit words.
  const words = wav.subarray(44)
  const samples = Float64Array.from({ length: words.length >> 1 }, (_, i) => words.readInt16LE(2 * i) / 32768)
  return resampled(samples, SPEECH_RATE, RATE)
}

/** A note of a part: start and length in beats, MIDI key, velocity. */
export type Note = { readonly at: number; readonly beats: number; readonly key: number; readonly velocity: number }

/** One part played by `fluidsynth` with a General MIDI sound font, reverb and chorus off, summed to mono. */
export function play(
  notes: readonly Note[],
  part: { readonly program: number; readonly isDrums: boolean; readonly beatsPerMinute: number },
  frameCount: number,
): Float64Array {
  const folder = mkdtempSync(join(tmpdir(), 'mix-'))
  try {
    const midi = join(folder, 'part.mid')
    const raw = join(folder, 'part.raw')
    writeFileSync(midi, midiFile(notes, part))
    const format = ['-T', 'raw', '-O', 's16', '-E', 'little', '-r', String(RATE), '-R', '0', '-C', '0', '-g', '0.5']
    run('fluidsynth', ['-q', '-n', '-i', ...format, '-F', raw, SOUND_FONT, midi])
    const words = readFileSync(raw)
    const mono = new Float64Array(frameCount)
    for (let i = 0; i < frameCount && 4 * i + 3 < words.length; i++) {
      mono[i] = (words.readInt16LE(4 * i) + words.readInt16LE(4 * i + 2)) / 65536
    }
    return mono
  } finally {
    rmSync(folder, { recursive: true })
  }
}

const TICKS_PER_BEAT = 480

/** @source Standard MIDI Files 1.0: format 0, one track */
function midiFile(notes: readonly Note[], part: { program: number; isDrums: boolean; beatsPerMinute: number }): Buffer {
  const channel = part.isDrums ? 9 : 0
  const events = notes.flatMap(({ at, beats, key, velocity }) => [
    { tick: Math.round(at * TICKS_PER_BEAT), bytes: [0x90 | channel, key, velocity], order: 1 },
    { tick: Math.round((at + beats) * TICKS_PER_BEAT) - 1, bytes: [0x80 | channel, key, 0], order: 0 },
  ])
  events.sort((a, b) => a.tick - b.tick || a.order - b.order)
  const tempo = Math.round(60e6 / part.beatsPerMinute)
  const track = [0, 0xff, 0x51, 3, tempo >> 16, (tempo >> 8) & 255, tempo & 255, 0, 0xc0 | channel, part.program]
  let now = 0
  for (const { tick, bytes } of events) {
    track.push(...variableLength(tick - now), ...bytes)
    now = tick
  }
  track.push(0, 0xff, 0x2f, 0)
  const head = Buffer.from('MThd\0\0\0\u0006\0\0\0\u0001\0\0MTrk\0\0\0\0', 'latin1')
  head.writeUInt16BE(TICKS_PER_BEAT, 12)
  head.writeUInt32BE(track.length, 18)
  return Buffer.concat([head, Buffer.from(track)])
}

function variableLength(ticks: number): number[] {
  const bytes = [ticks & 127]
  for (let rest = ticks >> 7; rest > 0; rest >>= 7) bytes.unshift((rest & 127) | 128)
  return bytes
}

/** By a Hann-windowed sinc of 32 zero crossings, cut off at the lower of the two half rates. */
function resampled(samples: Float64Array, from: number, to: number): Float64Array {
  const crossings = 32
  const cutoff = Math.min(1, to / from)
  const reach = crossings / cutoff
  return Float64Array.from({ length: Math.floor((samples.length * to) / from) }, (_, i) => {
    const centre = (i * from) / to
    let sum = 0
    for (let n = Math.ceil(centre - reach); n <= centre + reach; n++) {
      const x = (n - centre) * cutoff
      const sinc = x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x)
      sum += (samples[n] ?? 0) * cutoff * sinc * (0.5 + 0.5 * Math.cos((Math.PI * x) / crossings))
    }
    return sum
  })
}

function run(program: string, args: readonly string[]): Buffer {
  const result = spawnSync(program, args, { maxBuffer: 64 * 1024 * 1024 })
  if (result.status !== 0) throw new Error(`${program} failed: ${result.error?.message ?? result.stderr.toString()}`)
  return result.stdout
}

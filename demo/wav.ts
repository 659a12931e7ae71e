import { writeFileSync } from 'node:fs'
import { SAMPLE_RATE_HZ } from './synthesis/signal.ts'

const BYTES_A_SAMPLE = 3
const HEADER_BYTES = 68
/** KSDATAFORMAT_SUBTYPE_PCM. */
const PCM_SUBTYPE = '0100000000001000800000aa00389b71'
/** Loudspeaker bits of the WAVE channel mask: front left and right; with centre, LFE and the back pair. */
const CHANNEL_MASK: Readonly<Record<number, number>> = { 2: 0x3, 6: 0x3f }

/**
 * Writes a 24-bit WAV file, one array a channel, full scale = 1.
 * It is written apart from the product's own writer, so that the demo also shows that a plain file is read.
 */
export function writeWav(path: string, channels: readonly Float32Array[]): void {
  const frameCount = channels[0].length
  const frameBytes = BYTES_A_SAMPLE * channels.length
  const dataBytes = frameCount * frameBytes
  const file = Buffer.alloc(HEADER_BYTES + dataBytes)
  file.write('RIFF', 0)
  file.writeUInt32LE(HEADER_BYTES - 8 + dataBytes, 4)
  file.write('WAVEfmt ', 8)
  file.writeUInt32LE(40, 16)
  file.writeUInt16LE(0xfffe, 20)
  file.writeUInt16LE(channels.length, 22)
  file.writeUInt32LE(SAMPLE_RATE_HZ, 24)
  file.writeUInt32LE(SAMPLE_RATE_HZ * frameBytes, 28)
  file.writeUInt16LE(frameBytes, 32)
  file.writeUInt16LE(8 * BYTES_A_SAMPLE, 34)
  file.writeUInt16LE(22, 36)
  file.writeUInt16LE(8 * BYTES_A_SAMPLE, 38)
  file.writeUInt32LE(CHANNEL_MASK[channels.length], 40)
  file.write(PCM_SUBTYPE, 44, 'hex')
  file.write('data', 60)
  file.writeUInt32LE(dataBytes, 64)
  let at = HEADER_BYTES
  for (let f = 0; f < frameCount; f++) {
    for (const channel of channels) {
      const word = Math.max(-8388608, Math.min(8388607, Math.round(channel[f] * 8388608)))
      file[at] = word & 255
      file[at + 1] = (word >> 8) & 255
      file[at + 2] = (word >> 16) & 255
      at += BYTES_A_SAMPLE
    }
  }
  writeFileSync(path, file)
}

import { createHash } from 'node:crypto'
import * as fs from 'node:fs'
import { setImmediate } from 'node:timers/promises'
import { type FLACDecodedAudio, FLACDecoder } from '@wasm-audio-decoders/flac'
import { assert, BYTES_PER_SAMPLE } from '../../domain/index.ts'
import { assignChannels, type ChannelOptions } from '../channels.ts'
import { type OpenFile, openFile, readRange, writeAll, writeRefusal } from '../file.ts'
import type { Watch } from '../hash.ts'
import type { PcmLocation } from '../pcm.ts'
import { refusal, unreadable } from '../refusals.ts'
import { type FlacHeader, readFlacHeader, scratchEncoding } from './header.ts'

/** Bytes of FLAC that are decoded at once; about a second of 5.1, so that memory stays small and Ctrl-C is heard. */
const BLOCK_BYTES = 1 << 19

/**
 * Decodes a FLAC file once to a scratch file of plain interleaved PCM (no header), exact to the last bit,
 * so that it can be read at any frame. An existing scratch file is overwritten; a failed one is removed.
 * Refuses a file whose frames do not give the length and the MD5 of its header.
 */
export async function decodeToScratch(
  path: string,
  scratchPath: string,
  on: Watch & ChannelOptions = {},
): Promise<PcmLocation> {
  const file = openFile(path)
  try {
    const header = readFlacHeader(file)
    const channels = assignChannels(path, header.channelCount, header.channelMask, on)
    await decodeFile(file, header, scratchPath, on)
    return {
      path: scratchPath,
      dataByteOffset: 0,
      format: {
        encoding: scratchEncoding(header.bitsPerSample),
        channelCount: header.channelCount,
        sampleRateHz: header.sampleRateHz,
      },
      layout: channels.openAs,
      frameCount: header.frameCount,
      channelOrder: channels.channelOrder,
    }
  } finally {
    fs.closeSync(file.fd)
  }
}

async function decodeFile(file: OpenFile, header: FlacHeader, scratchPath: string, watch: Watch): Promise<void> {
  const scratch = { path: scratchPath, fd: createScratch(scratchPath) }
  const decoder = new FLACDecoder()
  let isWhole = false
  try {
    await decoder.ready
    const sum = createHash('md5')
    let framesDone = 0
    let bytesDone = 0
    const take = (decoded: FLACDecodedAudio) => {
      if (decoded.errors.length > 0)
        throw damaged(file.path, `a frame that cannot be decoded after frame ${framesDone}`)
      if (decoded.samplesDecoded === 0) return
      const words = interleave(decoded, header.bitsPerSample)
      sum.update(words.significant)
      writeAll(scratch, words.justified, bytesDone)
      framesDone += decoded.samplesDecoded
      bytesDone += words.justified.length
    }
    for (let at = 0; at < file.byteCount; at += BLOCK_BYTES) {
      if (watch.cancellation?.aborted) throw refusal('MEDIA_CANCELLED', `decode "${file.path}"`, 'a request to stop')
      take(await decoder.decode(readRange(file, at, BLOCK_BYTES)))
      watch.progress?.(Math.min(1, (at + BLOCK_BYTES) / file.byteCount))
      await setImmediate()
    }
    take(await decoder.flush())
    if (framesDone !== header.frameCount) {
      throw damaged(file.path, `${framesDone} frames where its header says ${header.frameCount}`)
    }
    if (header.md5 !== null && sum.digest('hex') !== header.md5) {
      throw damaged(file.path, 'audio whose MD5 is not that of its header')
    }
    isWhole = true
  } finally {
    decoder.free()
    fs.closeSync(scratch.fd)
    if (!isWhole) fs.rmSync(scratchPath, { force: true })
  }
}

function damaged(path: string, found: string): Error {
  return unreadable('MEDIA_FLAC_DAMAGED', path, found)
}

function createScratch(path: string): number {
  try {
    return fs.openSync(path, 'w')
  } catch (error) {
    throw writeRefusal(path, error)
  }
}

type Words = {
  /** As the scratch file takes them: left-justified in whole bytes. */
  readonly justified: Uint8Array
  /** As the MD5 is taken over them: right-justified in the same number of bytes. */
  readonly significant: Uint8Array
}

/** The decoder gives integers divided by full scale as float32, which is exact to 24 bits. */
function interleave(decoded: FLACDecodedAudio, bitsPerSample: number): Words {
  const sampleBytes = BYTES_PER_SAMPLE[scratchEncoding(bitsPerSample)]
  const unusedBits = 8 * sampleBytes - bitsPerSample
  const justified = wordsOf(decoded, bitsPerSample + unusedBits, sampleBytes)
  return { justified, significant: unusedBits === 0 ? justified : wordsOf(decoded, bitsPerSample, sampleBytes) }
}

function wordsOf({ channelData, samplesDecoded }: FLACDecodedAudio, bits: number, sampleBytes: number): Uint8Array {
  const fullScale = 2 ** (bits - 1)
  const bytes = new Uint8Array(samplesDecoded * channelData.length * sampleBytes)
  const frameBytes = channelData.length * sampleBytes
  channelData.forEach((samples, channel) => {
    assert(samples.length >= samplesDecoded, 'the decoder gave fewer samples than it counted')
    let at = channel * sampleBytes
    for (let frame = 0; frame < samplesDecoded; frame++) {
      const word = (samples[frame] as number) * fullScale
      bytes[at] = word
      bytes[at + 1] = word >> 8
      if (sampleBytes === 3) bytes[at + 2] = word >> 16
      at += frameBytes
    }
  })
  return bytes
}

import { createHash } from 'node:crypto'
import * as fs from 'node:fs'
import { setImmediate } from 'node:timers/promises'
import type { FLACDecodedAudio } from '@wasm-audio-decoders/flac'
import { BYTES_PER_SAMPLE, Cancelled } from '../../domain/index.ts'
import { assignChannels, type ChannelOptions } from '../channels.ts'
import { type OpenFile, openFile, readRange, writeAll, writeRefusal } from '../file.ts'
import type { Watch } from '../hash.ts'
import type { PcmLocation } from '../pcm.ts'
import { unreadable } from '../refusals.ts'
import { type FlacHeader, readFlacHeader } from './header.ts'

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
    const channels = assignChannels(path, header.format.channelCount, header.channelMask, on)
    await decodeFile(file, header, scratchPath, on)
    return {
      path: scratchPath,
      dataByteOffset: 0,
      format: header.format,
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
  // Loaded only here: its many modules would slow the start of every command and worker.
  const { FLACDecoder } = await import('@wasm-audio-decoders/flac')
  const decoder = new FLACDecoder()
  let isWhole = false
  try {
    await decoder.ready
    const sum = createHash('md5')
    let framesDone = 0
    let bytesDone = 0
    const decode = async (flac: Uint8Array) => {
      const decoded = await decoder.decode(flac)
      if (decoded.errors.length > 0)
        throw damaged(file.path, `a block that cannot be decoded after frame ${framesDone}`)
      if (decoded.samplesDecoded === 0) return
      const pcm = interleave(decoded, BYTES_PER_SAMPLE[header.format.encoding])
      sum.update(pcm)
      writeAll(scratch, pcm, bytesDone)
      framesDone += decoded.samplesDecoded
      bytesDone += pcm.length
    }
    for (let at = header.audioByteOffset; at < file.byteCount; at += BLOCK_BYTES) {
      if (watch.cancellation?.aborted) throw new Cancelled('stopped by the user')
      await decode(readRange(file, at, BLOCK_BYTES))
      watch.progress?.(Math.min(1, (at + BLOCK_BYTES) / file.byteCount))
      await setImmediate()
    }
    await decode(endMark(file, header.audioByteOffset))
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

const LONGEST_FRAME_HEADER_BYTES = 16
/** A frame that cannot be one: no checksum fits it, so that it is never decoded. */
const NO_FRAME_BYTES = Buffer.alloc(64, 0x55)

/**
 * The decoder takes a FLAC frame only once it sees the header of the next one; its own way to end a stream loses the
 * last frame where that is short, as in silence. So it is shown the header of the first frame again, and no frame.
 */
function endMark(file: OpenFile, audioByteOffset: number): Uint8Array {
  const start = readRange(file, audioByteOffset, LONGEST_FRAME_HEADER_BYTES)
  return Buffer.concat([start.subarray(0, frameHeaderBytes(start)), NO_FRAME_BYTES])
}

/** Length of a frame header, checksum included. @source RFC 9639 clause 9.1 */
function frameHeaderBytes(header: Uint8Array): number {
  const [, , codes = 0, , coded = 0] = header
  const blockSizeCode = codes >> 4
  const rateCode = codes & 15
  // The number of the frame is coded as UTF-8 codes characters: leading ones count the bytes.
  const leadingOnes = Math.clz32(~(coded << 24))
  const numberBytes = Math.max(1, leadingOnes)
  const blockSizeBytes = blockSizeCode === 6 ? 1 : blockSizeCode === 7 ? 2 : 0
  const rateBytes = rateCode === 12 ? 1 : rateCode === 13 || rateCode === 14 ? 2 : 0
  return 4 + numberBytes + blockSizeBytes + rateBytes + 1
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

/**
 * The decoder gives each integer divided by the largest one as float32; multiplied and rounded, every integer of
 * 16 and of 24 bits comes back exactly (tried one by one; the error stays below a quarter of a step).
 */
function interleave({ channelData, samplesDecoded }: FLACDecodedAudio, sampleBytes: number): Uint8Array {
  const largest = 2 ** (8 * sampleBytes - 1) - 1
  const frameBytes = channelData.length * sampleBytes
  const bytes = new Uint8Array(samplesDecoded * frameBytes)
  channelData.forEach((samples, channel) => {
    let at = channel * sampleBytes
    for (let frame = 0; frame < samplesDecoded; frame++) {
      const word = Math.round((samples[frame] as number) * largest)
      bytes[at] = word
      bytes[at + 1] = word >> 8
      if (sampleBytes === 3) bytes[at + 2] = word >> 16
      at += frameBytes
    }
  })
  return bytes
}

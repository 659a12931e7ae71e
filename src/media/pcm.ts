import * as fs from 'node:fs'
import {
  type AudioSink,
  type AudioSource,
  assert,
  BYTES_PER_SAMPLE,
  bytesPerFrame,
  type LayoutName,
  type PcmFormat,
} from '../domain/index.ts'
import { openFile, readUpTo, writeAll, writeRefusal } from './file.ts'
import { unreadable } from './refusals.ts'

/** Where the samples of a programme lie; it can be sent to a worker, which opens the file again by it. */
export type PcmLocation = {
  readonly path: string
  readonly dataByteOffset: number
  readonly format: PcmFormat
  readonly layout: LayoutName
  readonly frameCount: number
  /** `channelOrder[i]` = index in the file of the i-th channel of `LAYOUTS[layout]`; null = the same order. */
  readonly channelOrder: readonly number[] | null
}

export interface OpenAudio extends AudioSource {
  close(): void
}

export interface OpenSink extends AudioSink {
  close(): void
}

/** Frames are reordered through a buffer of about this size, so that memory does not depend on the caller's blocks. */
const REORDER_BYTES = 1 << 20

/** `channelOrder`, checked; null where the file has the order of the layout. */
function orderOf({ channelOrder, format }: PcmLocation): readonly number[] | null {
  if (channelOrder === null) return null
  const isPermutation = channelOrder.toSorted((a, b) => a - b).every((channel, index) => channel === index)
  assert(
    isPermutation && channelOrder.length === format.channelCount,
    `channel order ${channelOrder} is no permutation`,
  )
  return channelOrder
}

/** Copies one channel of interleaved PCM to another place in the frames of `to`, which has as many bytes. */
function copyChannel(
  from: Uint8Array,
  fromChannel: number,
  to: Uint8Array,
  toChannel: number,
  format: PcmFormat,
): void {
  const sampleBytes = BYTES_PER_SAMPLE[format.encoding]
  const frameBytes = bytesPerFrame(format)
  let source = fromChannel * sampleBytes
  for (let target = toChannel * sampleBytes; target < to.length; target += frameBytes) {
    // Written out, this takes half the time of a loop over the bytes of a sample.
    to[target] = from[source] as number
    to[target + 1] = from[source + 1] as number
    if (sampleBytes > 2) to[target + 2] = from[source + 2] as number
    if (sampleBytes > 3) to[target + 3] = from[source + 3] as number
    for (let byte = 4; byte < sampleBytes; byte++) to[target + byte] = from[source + byte] as number
    source += frameBytes
  }
}

function assertInside(location: PcmLocation, frameIndex: number, frameCount: number): void {
  const inside = frameIndex >= 0 && frameCount >= 0 && frameIndex + frameCount <= location.frameCount
  assert(inside, `frames ${frameIndex}+${frameCount} lie outside the ${location.frameCount} of ${location.path}`)
}

/**
 * Opens the PCM of a file for reading at any frame. Bytes go straight into the caller's memory;
 * only a file in another channel order passes through a buffer.
 */
export function openPcm(location: PcmLocation): OpenAudio {
  const file = openFile(location.path)
  const frameBytes = bytesPerFrame(location.format)
  const order = orderOf(location)
  const buffer = new Uint8Array(order === null ? 0 : Math.ceil(REORDER_BYTES / frameBytes) * frameBytes)

  function readWhole(bytes: Uint8Array, frameIndex: number): void {
    const count = readUpTo(file, bytes, location.dataByteOffset + frameIndex * frameBytes)
    if (count < bytes.length) {
      const found = `the end of the file ${bytes.length - count} bytes too early`
      throw unreadable('MEDIA_FILE_CHANGED', location.path, found)
    }
  }

  return {
    format: location.format,
    layout: location.layout,
    frameCount: location.frameCount,
    readInto(bytes, frameIndex, frameCount) {
      assertInside(location, frameIndex, frameCount)
      const wanted = bytes.subarray(0, frameCount * frameBytes)
      assert(wanted.length === frameCount * frameBytes, 'the caller has no room for the frames it asks for')
      if (order === null) return readWhole(wanted, frameIndex)
      for (let start = 0; start < wanted.length; start += buffer.length) {
        const target = wanted.subarray(start, start + buffer.length)
        const raw = buffer.subarray(0, target.length)
        readWhole(raw, frameIndex + start / frameBytes)
        order.forEach((inFile, channel) => copyChannel(raw, inFile, target, channel, location.format))
      }
    },
    close: () => fs.closeSync(file.fd),
  }
}

/** Opens an existing file for writing PCM at any frame of its data; several may be open on one file at once. */
export function openPcmSink(location: PcmLocation): OpenSink {
  const { path } = location
  const file = { path, fd: openForWriting(path) }
  const frameBytes = bytesPerFrame(location.format)
  const order = orderOf(location)

  return {
    format: location.format,
    write(bytes, frameIndex) {
      assert(bytes.length % frameBytes === 0, 'only whole frames can be written')
      assertInside(location, frameIndex, bytes.length / frameBytes)
      const byteOffset = location.dataByteOffset + frameIndex * frameBytes
      if (order === null) return writeAll(file, bytes, byteOffset)
      const raw = new Uint8Array(bytes.length)
      order.forEach((inFile, channel) => copyChannel(bytes, channel, raw, inFile, location.format))
      writeAll(file, raw, byteOffset)
    },
    close: () => fs.closeSync(file.fd),
  }
}

function openForWriting(path: string): number {
  try {
    return fs.openSync(path, 'r+')
  } catch (error) {
    throw writeRefusal(path, error)
  }
}

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

/** For each byte of a frame in the order of the layout, its place in a frame of the file. */
function bytePlaces(location: PcmLocation): Uint16Array {
  const sampleBytes = BYTES_PER_SAMPLE[location.format.encoding]
  const order = location.channelOrder ?? []
  const isPermutation = order.toSorted((a, b) => a - b).every((channel, index) => channel === index)
  assert(isPermutation && order.length === location.format.channelCount, `channel order ${order} is no permutation`)
  return Uint16Array.from({ length: sampleBytes * order.length }, (_, byte) => {
    const channel = Math.floor(byte / sampleBytes)
    return (order[channel] as number) * sampleBytes + (byte % sampleBytes)
  })
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
  const places = location.channelOrder === null ? null : bytePlaces(location)
  const buffer = places === null ? null : new Uint8Array(Math.ceil(REORDER_BYTES / frameBytes) * frameBytes)

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
      if (places === null || buffer === null) return readWhole(wanted, frameIndex)
      for (let start = 0; start < wanted.length; start += buffer.length) {
        const target = wanted.subarray(start, start + buffer.length)
        const raw = buffer.subarray(0, target.length)
        readWhole(raw, frameIndex + start / frameBytes)
        for (let frame = 0; frame < raw.length; frame += frameBytes) {
          for (let byte = 0; byte < frameBytes; byte++) {
            target[frame + byte] = raw[frame + (places[byte] as number)] as number
          }
        }
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
  const places = location.channelOrder === null ? null : bytePlaces(location)

  return {
    format: location.format,
    write(bytes, frameIndex) {
      assert(bytes.length % frameBytes === 0, 'only whole frames can be written')
      assertInside(location, frameIndex, bytes.length / frameBytes)
      const byteOffset = location.dataByteOffset + frameIndex * frameBytes
      if (places === null) return writeAll(file, bytes, byteOffset)
      const raw = new Uint8Array(bytes.length)
      for (let frame = 0; frame < raw.length; frame += frameBytes) {
        for (let byte = 0; byte < frameBytes; byte++) {
          raw[frame + (places[byte] as number)] = bytes[frame + byte] as number
        }
      }
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

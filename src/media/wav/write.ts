import * as fs from 'node:fs'
import { dirname } from 'node:path'
import { assert, bytesPerFrame, type LayoutName, type PcmFormat } from '../../domain/index.ts'
import { REAR_BEFORE_SIDE } from '../channels.ts'
import { writeAll, writeRefusal } from '../file.ts'
import type { PcmLocation } from '../pcm.ts'
import { unwritable } from '../refusals.ts'
import { type Bext, encodeBext } from './bext.ts'
import { SIZE_ELSEWHERE } from './chunks.ts'
import { encodeFormat, isPlainInteger } from './fmt.ts'

/** Everything that the header of a WAV file says; its length depends on the coding history, not on the loudness. */
export type WavPlan = {
  /** int16, int24 or float32. */
  readonly format: PcmFormat
  readonly layout: LayoutName
  readonly frameCount: number
  readonly bext: Bext | null
}

/** 5.1 with the surrounds as the back pair, which more readers know than the side pair 0x60F. */
const CHANNEL_MASKS: Readonly<Record<LayoutName, number>> = {
  mono: 0x4,
  '2.0': 0x3,
  '5.0': 0x37,
  '5.1': 0x3f,
  '7.1': 0x63f,
}
const WRITTEN_ENCODINGS: readonly string[] = ['int16', 'int24', 'float32']
const FORM_HEADER_BYTES = 12
const CHUNK_HEADER_BYTES = 8
/** @source EBU Tech 3306: a RIFF file reserves the place of ds64 by a JUNK chunk of the same length. */
const DS64_BODY_BYTES = 28

function chunk(name: string, body: Buffer): Buffer {
  const padded = Buffer.alloc(CHUNK_HEADER_BYTES + body.length + (body.length % 2))
  padded.write(name, 0, 'latin1')
  padded.writeUInt32LE(body.length, 4)
  body.copy(padded, CHUNK_HEADER_BYTES)
  return padded
}

type Lengths = { readonly headerBytes: number; readonly fileBytes: number }

/** The chunks between the reserved one and the data. */
function describingChunks(plan: WavPlan): Buffer {
  assert(WRITTEN_ENCODINGS.includes(plan.format.encoding), `${plan.format.encoding} is not written`)
  const chunks = plan.bext === null ? [] : [chunk('bext', encodeBext(plan.bext))]
  const formatBody = encodeFormat(plan.format, CHANNEL_MASKS[plan.layout])
  chunks.push(chunk('fmt ', formatBody))
  // Every format tag but that of plain integers wants the number of frames again.
  if (!isPlainInteger(formatBody)) {
    const fact = Buffer.alloc(4)
    fact.writeUInt32LE(Math.min(plan.frameCount, SIZE_ELSEWHERE))
    chunks.push(chunk('fact', fact))
  }
  return Buffer.concat(chunks)
}

/** All bytes before the first sample. RF64 where a 32-bit size would not hold. */
function encodeHeader(plan: WavPlan): { readonly header: Buffer; readonly lengths: Lengths } {
  const describing = describingChunks(plan)
  const headerBytes = FORM_HEADER_BYTES + CHUNK_HEADER_BYTES + DS64_BODY_BYTES + describing.length + CHUNK_HEADER_BYTES
  const dataBytes = plan.frameCount * bytesPerFrame(plan.format)
  const fileBytes = headerBytes + dataBytes + (dataBytes % 2)
  const riffBytes = fileBytes - CHUNK_HEADER_BYTES
  const isLong = riffBytes >= SIZE_ELSEWHERE

  const form = Buffer.alloc(FORM_HEADER_BYTES)
  form.write(isLong ? 'RF64' : 'RIFF', 0, 'latin1')
  form.writeUInt32LE(isLong ? SIZE_ELSEWHERE : riffBytes, 4)
  form.write('WAVE', 8, 'latin1')
  const reserved = Buffer.alloc(DS64_BODY_BYTES)
  if (isLong) {
    reserved.writeBigUInt64LE(BigInt(riffBytes), 0)
    reserved.writeBigUInt64LE(BigInt(dataBytes), 8)
    reserved.writeBigUInt64LE(BigInt(plan.frameCount), 16)
  }
  const dataHeader = Buffer.alloc(CHUNK_HEADER_BYTES)
  dataHeader.write('data', 0, 'latin1')
  dataHeader.writeUInt32LE(isLong ? SIZE_ELSEWHERE : dataBytes, 4)
  const header = Buffer.concat([form, chunk(isLong ? 'ds64' : 'JUNK', reserved), describing, dataHeader])
  return { header, lengths: { headerBytes, fileBytes } }
}

/**
 * Creates a WAV file of its final length, with its header and silence, ready for `openPcmSink`.
 * Refuses an existing file, a folder that cannot be written and a disk that is known to be too small; nothing is left
 * behind then.
 */
export function createWav(path: string, plan: WavPlan): PcmLocation {
  const { header, lengths } = encodeHeader(plan)
  refuseSmallDisk(path, lengths.fileBytes)
  const fd = openNew(path)
  try {
    fs.ftruncateSync(fd, lengths.fileBytes)
    writeAll({ path, fd }, header, 0)
  } catch (error) {
    fs.rmSync(path, { force: true })
    throw writeRefusal(path, error)
  } finally {
    fs.closeSync(fd)
  }
  return {
    path,
    dataByteOffset: lengths.headerBytes,
    format: plan.format,
    layout: plan.layout,
    frameCount: plan.frameCount,
    channelOrder: plan.layout === '7.1' ? REAR_BEFORE_SIDE : null,
  }
}

/** The system reserves nothing for the length of a new file, so a full disk would only show hours later. */
function refuseSmallDisk(path: string, fileBytes: number): void {
  let free: number
  try {
    const disk = fs.statfsSync(dirname(path))
    free = disk.bavail * disk.bsize
  } catch (error) {
    throw writeRefusal(path, error)
  }
  if (free < fileBytes) throw unwritable('MEDIA_DISK_FULL', path, `${free} bytes free for a file of ${fileBytes} bytes`)
}

function openNew(path: string): number {
  try {
    return fs.openSync(path, 'wx')
  } catch (error) {
    throw writeRefusal(path, error)
  }
}

/** Writes the final header, loudness included, over the first one and waits until the whole file is on the disk. */
export function sealWav(path: string, plan: WavPlan): void {
  const { header, lengths } = encodeHeader(plan)
  try {
    const fd = fs.openSync(path, 'r+')
    try {
      const isSamePlan = fs.fstatSync(fd).size === lengths.fileBytes
      assert(isSamePlan, `the plan to seal ${path} differs in length from the one it was created with`)
      writeAll({ path, fd }, header, 0)
      fs.fsyncSync(fd)
    } finally {
      fs.closeSync(fd)
    }
  } catch (error) {
    throw writeRefusal(path, error)
  }
}

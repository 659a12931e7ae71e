import { closeSync } from 'node:fs'
import type { Finding, LayoutName, PcmFormat } from '../domain/index.ts'
import { assignChannels, type ChannelOptions } from './channels.ts'
import { CONTAINER_BYTES, identifyContainer } from './container.ts'
import { type OpenFile, openFile, readRange } from './file.ts'
import { readFlacHeader } from './flac/header.ts'
import type { PcmLocation } from './pcm.ts'
import { unreadable } from './refusals.ts'
import type { Bext } from './wav/bext.ts'
import type { Ixml } from './wav/ixml.ts'
import { readWavHeader } from './wav/read.ts'

/** What an audio file is, by its header. */
export type Probe = {
  readonly container: 'RIFF' | 'RF64' | 'BW64' | 'FLAC'
  /** Significant bits of a sample; `format` says in what words they stand. */
  readonly bitsPerSample: number
  /** Null where the header carries none. */
  readonly channelMask: number | null
  readonly bext: Bext | null
  readonly ixml: Ixml | null
  /**
   * Where the samples lie; null: they must be decoded to scratch first (FLAC). While `layout` is null it opens the
   * channels as they stand, named by the layout of their number, so that they can be looked at.
   */
  readonly location: PcmLocation | null
  readonly format: PcmFormat
  /** Null: neither the header nor the user tells. */
  readonly layout: LayoutName | null
  readonly frameCount: number
  /** A `fail` means that the audio itself is in doubt: it can be measured as it stands, not delivered. */
  readonly findings: readonly Finding[]
}

/**
 * Reads the header of an audio file. What the user says of the layout and the order outranks the header.
 * Throws a `Refusal` with a `MEDIA_` code where the file is none that can be read.
 */
export function probe(path: string, options: ChannelOptions = {}): Probe {
  const file = openFile(path)
  try {
    if (file.byteCount === 0) throw unreadable('MEDIA_EMPTY', path, 'an empty file')
    const container = identifyContainer(readRange(file, 0, CONTAINER_BYTES))
    switch (container.kind) {
      case 'WAVE':
        return probeWav(file, container.name, options)
      case 'FLAC':
        return probeFlac(file, options)
      case 'cut-short': {
        const found = `the end of the file after ${file.byteCount} bytes, before its audio`
        throw unreadable('MEDIA_HEADER_TRUNCATED', path, found)
      }
      case 'other':
        throw unreadable('MEDIA_UNKNOWN_CONTAINER', path, container.name)
    }
  } finally {
    closeSync(file.fd)
  }
}

function probeWav(file: OpenFile, container: 'RIFF' | 'RF64' | 'BW64', options: ChannelOptions): Probe {
  const header = readWavHeader(file, container)
  const { format, bitsPerSample, channelMask, bext, ixml, frameCount, dataByteOffset } = header
  const channels = assignChannels(file.path, format.channelCount, channelMask, options)
  return {
    container,
    bitsPerSample,
    channelMask,
    bext,
    ixml,
    format,
    frameCount,
    layout: channels.layout,
    location: {
      path: file.path,
      dataByteOffset,
      format,
      frameCount,
      layout: channels.openAs,
      channelOrder: channels.channelOrder,
    },
    findings: [...header.findings, ...channels.findings],
  }
}

function probeFlac(file: OpenFile, options: ChannelOptions): Probe {
  const { format, bitsPerSample, channelMask, frameCount } = readFlacHeader(file)
  const channels = assignChannels(file.path, format.channelCount, channelMask, options)
  return {
    container: 'FLAC',
    bitsPerSample,
    channelMask,
    bext: null,
    ixml: null,
    format,
    frameCount,
    layout: channels.layout,
    location: null,
    findings: channels.findings,
  }
}

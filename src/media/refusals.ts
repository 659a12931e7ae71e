import { type Refusal, type RefusalTable, refuserOf } from '../domain/index.ts'

const ACCEPTED_FILES = 'PCM in WAV, BWF, RF64 or BW64, or a FLAC file'
const COPY_AGAIN = 'Copy the file again from its origin and compare the checksums.'
const CONVERT =
  'Convert it to a 24-bit WAV at the same sample rate, for example with FFmpeg: ' +
  'ffmpeg -i IN -c:a pcm_s24le -rf64 auto OUT.wav'

/** Every reason for which the media layer refuses a file: stable code, when it is given, what is needed, what to do. */
export const MEDIA_REFUSALS = {
  MEDIA_NOT_FOUND: {
    sentence: 'There is nothing at the path.',
    wanted: 'an audio file',
    remedy: 'Check the path and whether the volume is mounted.',
  },
  MEDIA_IS_FOLDER: {
    sentence: 'The path leads to a folder.',
    wanted: 'an audio file',
    remedy: 'Name the file inside the folder.',
  },
  MEDIA_NOT_A_FILE: {
    sentence: 'The path leads to a device, a pipe or a socket, which cannot be read at any place.',
    wanted: 'a file on a disk',
    remedy: 'Write the audio to a file first.',
  },
  MEDIA_NOT_READABLE: {
    sentence: 'The system does not allow this user to read the file.',
    wanted: 'permission to read',
    remedy: 'Give this user permission to read the file and its folder.',
  },
  MEDIA_READ_FAILED: {
    sentence: 'The disk or the network reported an error while the file was read.',
    wanted: 'a read without error',
    remedy: 'Copy the file to a healthy disk and try again.',
  },
  MEDIA_FILE_CHANGED: {
    sentence: 'The file became shorter, or ends earlier than its header was found to say, while it was in use.',
    wanted: 'a file that stays as it is until the work is done',
    remedy: 'Let the copy or recording finish, then try again.',
  },
  MEDIA_EMPTY: {
    sentence: 'The file has no bytes at all.',
    wanted: ACCEPTED_FILES,
    remedy: COPY_AGAIN,
  },
  MEDIA_HEADER_TRUNCATED: {
    sentence: 'The file ends inside its header, before any audio.',
    wanted: 'a whole header and audio after it',
    remedy: COPY_AGAIN,
  },
  MEDIA_UNKNOWN_CONTAINER: {
    sentence: 'The first bytes are not those of a container that can be read; the name of the file does not count.',
    wanted: ACCEPTED_FILES,
    remedy: CONVERT,
  },
  MEDIA_NO_FORMAT: {
    sentence: 'The WAV file has no fmt chunk, or one too short to say how its samples are written.',
    wanted: 'a fmt chunk of at least 16 bytes',
    remedy: 'Export the file again from the program that wrote it.',
  },
  MEDIA_UNKNOWN_CODING: {
    sentence: 'The samples are not written as plain PCM.',
    wanted: 'integer PCM (format tag 1) or floating-point PCM (format tag 3)',
    remedy: CONVERT,
  },
  MEDIA_SAMPLE_SIZE: {
    sentence: 'The word length of the samples is not supported.',
    wanted: '16, 24 or 32-bit integer, or 32 or 64-bit float samples (FLAC: 16 or 24 bits)',
    remedy: CONVERT,
  },
  MEDIA_BLOCK_ALIGN: {
    sentence: 'The header contradicts itself about the bytes of one frame, so no sample can be trusted.',
    wanted: 'block align = channels x bytes of one sample',
    remedy: 'Export the file again from the program that wrote it.',
  },
  MEDIA_NO_CHANNELS: {
    sentence: 'The header says that the file has no channels.',
    wanted: '1, 2, 5, 6 or 8 channels',
    remedy: 'Export the file again from the program that wrote it.',
  },
  MEDIA_CHANNEL_COUNT: {
    sentence: 'The number of channels is that of no supported layout.',
    wanted: '1 (mono), 2 (2.0), 5 (5.0), 6 (5.1) or 8 (7.1) channels',
    remedy: 'Export the programme in one of these layouts, without spare tracks.',
  },
  MEDIA_CHANNEL_MASK: {
    sentence: 'The channel mask names loudspeakers of no supported layout.',
    wanted: 'a mask of 5.0 (0x37, 0x607), 5.1 (0x3F, 0x60F) or 7.1 (0x63F)',
    remedy: 'Say what the channels are with --layout and --order, or export the file with the right mask.',
  },
  MEDIA_LAYOUT_MISMATCH: {
    sentence: 'The layout or order asked for cannot be that of the file.',
    wanted: 'a layout with the number of channels of the file, in an order that is defined for it',
    remedy: 'Name another layout or order, or none: what the header says then counts.',
  },
  MEDIA_SAMPLE_RATE: {
    sentence: 'The sample rate is not supported.',
    wanted: '32000, 44100, 48000, 88200, 96000, 176400 or 192000 Hz',
    remedy: 'Convert the sample rate with a converter that you trust.',
  },
  MEDIA_NO_AUDIO: {
    sentence: 'The file holds not even one frame of audio.',
    wanted: 'at least one frame',
    remedy: 'Export the file again from the program that wrote it.',
  },
  MEDIA_FLAC_LENGTH: {
    sentence: 'The FLAC header does not say how long the programme is, as when it was written into a pipe.',
    wanted: 'a FLAC file with its total number of samples',
    remedy: 'Encode it again into a file.',
  },
  MEDIA_FLAC_DAMAGED: {
    sentence: 'The FLAC frames do not give the audio that the header promises.',
    wanted: 'every frame whole, and the checksum of the header',
    remedy: COPY_AGAIN,
  },
  MEDIA_OUTPUT_EXISTS: {
    sentence: 'A file is already there.',
    wanted: 'a new name',
    remedy: 'Choose another name or allow it to be replaced with --replace.',
  },
  MEDIA_OUTPUT_FOLDER_MISSING: {
    sentence: 'The folder that should take the file, or the file that was begun there, does not exist.',
    wanted: 'an existing folder',
    remedy: 'Make the folder first.',
  },
  MEDIA_OUTPUT_READ_ONLY: {
    sentence: 'The system does not allow this user to write there.',
    wanted: 'permission to write',
    remedy: 'Choose another folder or give this user permission to write.',
  },
  MEDIA_OUTPUT_TOO_LARGE: {
    sentence: 'The file system or a quota does not take a file of this size.',
    wanted: 'a file system that takes files of this size',
    remedy: 'Choose a disk whose file system takes large files.',
  },
  MEDIA_DISK_FULL: {
    sentence: 'The disk is full, or would be before the file is whole.',
    wanted: 'enough free space for the whole file',
    remedy: 'Free some space or choose another disk.',
  },
  MEDIA_MARKER_TOO_FAR: {
    sentence: 'A marker lies behind the last position that markers of a WAV file can have.',
    wanted: 'positions of at most 4 294 967 295 frames (24.8 h at 48 kHz)',
    remedy: 'Export the passages as CSV, EDL, OTIO or WebVTT.',
  },
  MEDIA_WRITE_FAILED: {
    sentence: 'The disk or the network reported an error while the file was written.',
    wanted: 'a write without error',
    remedy: 'Choose another disk and try again.',
  },
} as const satisfies RefusalTable

export type MediaRefusalCode = keyof typeof MEDIA_REFUSALS

export const refuse = refuserOf(MEDIA_REFUSALS)

/** The refusal of a file that cannot be read. */
export function unreadable(code: MediaRefusalCode, path: string, found: string, cause?: unknown): Refusal {
  return refuse(code, `read "${path}"`, found, { cause })
}

/** The refusal of a file that cannot be written. */
export function unwritable(code: MediaRefusalCode, path: string, found: string, cause?: unknown): Refusal {
  return refuse(code, `write "${path}"`, found, { cause })
}

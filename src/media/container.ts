/** What the first bytes of a file say that it is. */
export type Container =
  | { readonly kind: 'WAVE'; readonly name: 'RIFF' | 'RF64' | 'BW64' }
  | { readonly kind: 'FLAC' }
  | { readonly kind: 'other'; readonly name: string }
  /** Too short to say, but so far the beginning of something that could be read. */
  | { readonly kind: 'cut-short' }

/** Bytes from the beginning of a file that tell every container. */
export const CONTAINER_BYTES = 16

/** Beginnings of containers that are known by name and not read: text at a byte offset. */
const OTHERS: readonly (readonly [offset: number, beginning: string, name: string])[] = [
  [0, 'RIFX', 'a big-endian RIFF file'],
  [0, 'riff\x2e\x91\xcf\x11', 'a W64 file (64-bit RIFF with GUIDs)'],
  [0, 'FORM', 'an AIFF file'],
  [0, 'caff', 'a CAF file'],
  [4, 'ftyp', 'an MP4 or QuickTime file'],
  [4, 'moov', 'a QuickTime file'],
  [4, 'wide', 'a QuickTime file'],
  [4, 'mdat', 'a QuickTime file'],
  [0, 'OggS', 'an Ogg file'],
  [0, 'ID3', 'a file with an ID3 tag, as MP3 files have'],
  [0, '\x1a\x45\xdf\xa3', 'a Matroska file'],
  [0, '\x06\x0e\x2b\x34', 'an MXF file'],
  [0, '\x0b\x77', 'an AC-3 or E-AC-3 stream'],
  [0, '\x77\x0b', 'a byte-swapped AC-3 stream'],
  [0, '.snd', 'an AU file'],
]

const MPEG_LAYERS = ['AAC (ADTS)', 'MPEG audio layer III', 'MPEG audio layer II', 'MPEG audio layer I']

/** Names a container by its first `CONTAINER_BYTES` (fewer where the file is shorter); the extension never counts. */
export function identifyContainer(beginning: Uint8Array): Container {
  const text = String.fromCharCode(...beginning.subarray(0, CONTAINER_BYTES))
  const form = text.slice(0, 4)
  if (form === 'RIFF' || form === 'RF64' || form === 'BW64') {
    const type = text.slice(8, 12)
    if (type === 'WAVE') return { kind: 'WAVE', name: form }
    if (!'WAVE'.startsWith(type)) return { kind: 'other', name: `a ${form} file of type "${printable(type)}"` }
    return { kind: 'cut-short' }
  }
  if (form === 'fLaC') return { kind: 'FLAC' }
  if (text.length < 4 && ['RIFF', 'RF64', 'BW64', 'fLaC'].some((known) => known.startsWith(text))) {
    return { kind: 'cut-short' }
  }
  const other = OTHERS.find(([offset, start]) => text.startsWith(start, offset))
  if (other !== undefined) return { kind: 'other', name: other[2] }
  return {
    kind: 'other',
    name: mpegStream(beginning) ?? `an unknown kind of file that begins with "${printable(form)}"`,
  }
}

/** Eleven or twelve set bits begin a frame of MPEG audio; two bits after them tell the layer. */
function mpegStream(beginning: Uint8Array): string | null {
  const [first = 0, second = 0] = beginning
  if (first !== 0xff || second < 0xe0 || second === 0xff) return null
  return `an ${MPEG_LAYERS[(second >> 1) & 3]} stream`
}

function printable(text: string): string {
  return text.replace(/[^ -~]/g, '.')
}

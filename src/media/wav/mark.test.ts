import { appendFileSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { chunk, formatBody, noisePcm, refusalOf, riff, run, temporaryFolder } from '../../../test/testkit/wav.ts'
import { Cancelled } from '../../domain/index.ts'
import { encodeMarkers, existingMarkers, type WavMarker } from './cue.ts'
import { copyWithMarkers } from './mark.ts'

const folder = temporaryFolder()
const MARKERS: readonly WavMarker[] = [
  { startFrame: 0, frameCount: 100, name: 'Too loud', note: 'First of all' },
  { startFrame: 480, frameCount: 1, name: 'Odd', note: 'One frame only; even text' },
]
const FORMAT = { encoding: 'int24', channelCount: 2, sampleRateHz: 48000 } as const
const PCM = noisePcm(FORMAT, 1001)
/** libsndfile reads the points, Python's own code the chunks and labels. */
const read = (what: 'cue' | 'chunks', path: string) =>
  JSON.parse(run('/usr/bin/python3', 'test/peers/passage-readers.py', what, path).toString())

let count = 0
function written(bytes: Buffer): { readonly source: string; readonly copy: string } {
  count += 1
  const source = join(folder, `source-${count}.wav`)
  writeFileSync(source, bytes)
  return { source, copy: join(folder, `copy-${count}.wav`) }
}

const fmt = chunk('fmt ', formatBody({ channelCount: 2, bits: 24 }))
const odd = chunk('odd ', Buffer.from('odd'))
const info = chunk('LIST', Buffer.from('INFOISFT\x04\0\0\0abc\0', 'latin1'))
const data = chunk('data', PCM)

/** EBU Tech 3306 and ITU-R BS.2088: sizes in ds64, which also has a table for other chunks. */
function long(name: 'RF64' | 'BW64', chunks: readonly Buffer[], pcm: Buffer): Buffer {
  const sizes = Buffer.alloc(28 + 12)
  const body = Buffer.concat(chunks)
  sizes.writeBigUInt64LE(BigInt(4 + 8 + sizes.length + body.length), 0)
  sizes.writeBigUInt64LE(BigInt(pcm.length), 8)
  sizes.writeBigUInt64LE(1001n, 16)
  sizes.writeUInt32LE(1, 24)
  sizes.write('axml', 28, 'latin1')
  sizes.writeBigUInt64LE(5n, 32)
  return riff([chunk('ds64', sizes), body], { name, size: 0xffffffff })
}

test.each([
  ['RIFF', riff([odd, fmt, info, data, chunk('tail', Buffer.from('z'))])],
  ['RIFF', riff([chunk('JUNK', Buffer.alloc(28)), fmt, data])],
  ['RF64', long('RF64', [fmt, info, chunk('data', PCM, { size: 0xffffffff }), odd], PCM)],
  ['BW64', long('BW64', [fmt, chunk('axml', Buffer.from('<a/>\n')), chunk('data', PCM, { size: 0xffffffff })], PCM)],
])('a %s file keeps every chunk and gains its markers', async (form, bytes) => {
  const { source, copy } = written(bytes)
  const before = statSync(source)
  await copyWithMarkers(source, copy, MARKERS)
  expect(readFileSync(source).equals(bytes)).toBe(true)
  expect(statSync(source).mtimeMs).toBe(before.mtimeMs)

  const [was, is] = [read('chunks', source), read('chunks', copy)]
  const others = ({ chunks }: { chunks: string[][] }) => chunks.filter(([name]) => name !== 'ds64')
  expect(is.form).toBe(form)
  expect(is.formBytes).toBe(is.fileBytes)
  expect(others(is).slice(0, -2)).toEqual(others(was))
  expect(is.chunks.slice(-2).map(([name]: string[]) => name)).toEqual(['cue ', 'LIST'])
  expect(is.labels).toEqual([
    [1, 'labl', 'Too loud'],
    [2, 'labl', 'Odd'],
    [1, 'note', 'First of all'],
    [1, 'ltxt', 100, 'rgn '],
    [2, 'note', 'One frame only; even text'],
    [2, 'ltxt', 1, 'rgn '],
  ])
  const decoded = (path: string) => run('ffmpeg', '-v', 'error', '-i', path, '-f', 's24le', '-').equals(PCM)
  expect(decoded(copy)).toBe(true)
  // libsndfile 1.2 knows no BW64, and reads no cue points of RF64.
  if (form !== 'BW64') expect(() => run('sndfile-cmp', source, copy)).not.toThrow()
  if (form !== 'RIFF') return
  expect(read('cue', copy)).toEqual([
    { number: 1, position: 0, offset: 0, name: 'Too loud' },
    { number: 2, position: 480, offset: 480, name: 'Odd' },
  ])
})

test('markers of the source stay, and the new ones get free numbers', async () => {
  const first = written(riff([fmt, data, chunk('tail', Buffer.from('abc'))]))
  await copyWithMarkers(first.source, first.copy, MARKERS)
  const again = join(folder, 'marked-twice.wav')
  await copyWithMarkers(first.copy, again, [{ startFrame: 900, frameCount: 101, name: 'Third', note: 'n' }])
  expect(
    read('cue', again).map(({ number, position, name }: Record<string, unknown>) => [number, position, name]),
  ).toEqual([
    [1, 0, 'Too loud'],
    [2, 480, 'Odd'],
    [3, 900, 'Third'],
  ])
  expect(read('chunks', again).labels.slice(2)).toEqual([
    [3, 'labl', 'Third'],
    ...read('chunks', first.copy).labels.slice(2),
    [3, 'note', 'n'],
    [3, 'ltxt', 101, 'rgn '],
  ])
  expect(read('chunks', again).chunks.map(([name]: string[]) => name)).toEqual(['fmt ', 'data', 'tail', 'cue ', 'LIST'])
})

test('what is appended behind the file stays behind it', async () => {
  const { source, copy } = written(riff([fmt, data]))
  appendFileSync(source, Buffer.from('TAG\0 of another program'))
  await copyWithMarkers(source, copy, MARKERS)
  expect(readFileSync(copy).subarray(-23).toString('latin1')).toBe('TAG\0 of another program')
  expect(read('cue', copy)).toHaveLength(2)
})

test('a cue chunk that lies about its number, or is cut short, costs nothing', () => {
  const lying = Buffer.alloc(4 + 24 + 7)
  lying.writeUInt32LE(0xffffffff, 0)
  lying.writeUInt32LE(0xffffffff, 4)
  const existing = existingMarkers(lying, [Buffer.from('adtl')])
  expect(existing.points.length).toBe(24)
  const { cue } = encodeMarkers('copy.wav', MARKERS, existing)
  expect([cue.readUInt32LE(0), cue.readUInt32LE(28), cue.readUInt32LE(52)]).toEqual([3, 1, 2])
  expect(existingMarkers(Buffer.alloc(2), []).points.length).toBe(0)
})

test('positions that 32 bits cannot hold are refused, the last that they can is not', () => {
  const at = (startFrame: number, frameCount = 1) => [{ startFrame, frameCount, name: 'n', note: '' }]
  const none = existingMarkers(null, [])
  expect(encodeMarkers('copy.wav', at(2 ** 32 - 1), none).cue.readUInt32LE(8)).toBe(2 ** 32 - 1)
  expect(refusalOf(() => encodeMarkers('copy.wav', at(2 ** 32), none)).code).toBe('MEDIA_MARKER_TOO_FAR')
  expect(refusalOf(() => encodeMarkers('copy.wav', at(0, 2 ** 32), none)).code).toBe('MEDIA_MARKER_TOO_FAR')
})

test('a copy can be stopped, and never stands on a file', async () => {
  const { source, copy } = written(riff([fmt, data]))
  await expect(copyWithMarkers(source, copy, MARKERS, { cancellation: { aborted: true } })).rejects.toThrow(Cancelled)
  const taken = written(riff([fmt, data]))
  writeFileSync(taken.copy, 'mine')
  await expect(copyWithMarkers(taken.source, taken.copy, MARKERS)).rejects.toMatchObject({
    code: 'MEDIA_OUTPUT_EXISTS',
  })
  expect(readFileSync(taken.copy, 'utf8')).toBe('mine')
})

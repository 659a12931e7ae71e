// Draws what the upmix makes of the held-out full mix: the mix, and its dialogue alone through the weights of the mix.
// npx tsx bench/upmix/picture.ts docs/pictures/upmix.svg
import { writeFileSync } from 'node:fs'
import { crc32, deflateSync } from 'node:zlib'
import { transform } from '../../src/dsp/fft.reference.ts'
import { planFor, type Samples, throughWeightsOf } from '../../test/testkit/five-channels.ts'
import { loadKernels } from '../../test/testkit/kernels.ts'
import type { Stereo } from '../../test/testkit/mixes.ts'
import { RATE } from '../../test/testkit/mixes-players.ts'
import { makeRecordedStems } from '../../test/testkit/mixes-recorded.ts'
import { stemsOf, summed } from '../../test/testkit/mixes-stems.ts'

const [START_SECONDS, SECONDS] = [0, 8]
const [WIDTH, HEIGHT] = [400, 128]
const [LOWEST_HZ, HIGHEST_HZ] = [60, 16000]
/** Loudest and quietest that is told apart, power of a bin of the Hann window against that of a full-scale sine. */
const [TOP_DB, RANGE_DB] = [-30, 60]
const SHADES = 16
const FRAME = 2048
const HANN = Float64Array.from({ length: FRAME }, (_, i) => Math.sin((Math.PI * i) / FRAME) ** 2)

/** Powers of channels together: a column per moment from the left, a row per frequency from the top, shades 0 .. 15. */
function spectrogram(channels: readonly Samples[]): Uint8Array {
  const shades = new Uint8Array(WIDTH * HEIGHT)
  for (let column = 0; column < WIDTH; column++) {
    const from = Math.round((START_SECONDS + (SECONDS * (column + 0.5)) / WIDTH) * RATE) - FRAME / 2
    const powers = new Float64Array(FRAME / 2)
    for (const channel of channels) {
      const windowed = HANN.map((weight, i) => weight * (channel[from + i] ?? 0))
      const { re, im } = transform(windowed, new Float64Array(FRAME))
      for (let k = 0; k < FRAME / 2; k++) powers[k]! += (re[k]! ** 2 + im[k]! ** 2) / (FRAME / 4) ** 2
    }
    for (let row = 0; row < HEIGHT; row++) {
      const edge = (at: number) => (HIGHEST_HZ * (LOWEST_HZ / HIGHEST_HZ) ** (at / HEIGHT) * FRAME) / RATE
      const [low, high] = [Math.floor(edge(row + 1)), Math.ceil(edge(row))]
      const loudest = powers.subarray(low, high).reduce((most, power) => Math.max(most, power), 1e-20)
      const share = (10 * Math.log10(loudest) - TOP_DB + RANGE_DB) / RANGE_DB
      shades[row * WIDTH + column] = Math.max(0, Math.min(SHADES - 1, Math.floor(SHADES * share)))
    }
  }
  return shades
}

/** An image of 16 colours. @source W3C PNG, third edition */
function png(shades: Uint8Array): Buffer {
  const chunk = (type: string, content: Buffer) => {
    const body = Buffer.concat([Buffer.from(type, 'latin1'), content])
    const [length, sum] = [Buffer.alloc(4), Buffer.alloc(4)]
    length.writeUInt32BE(content.length)
    sum.writeUInt32BE(crc32(body))
    return Buffer.concat([length, body, sum])
  }
  const header = Buffer.alloc(13)
  header.writeUInt32BE(WIDTH, 0)
  header.writeUInt32BE(HEIGHT, 4)
  header.set([4, 3, 0, 0, 0], 8)
  const colours = Buffer.from(
    Array.from({ length: SHADES }, (_, shade) => {
      const ink = shade / (SHADES - 1)
      return [250 - 236 * ink, 250 - 214 * ink, 250 - 174 * ink * ink].map(Math.round)
    }).flat(),
  )
  const rows = Buffer.alloc(HEIGHT * (1 + WIDTH / 2))
  for (let row = 0; row < HEIGHT; row++) {
    for (let at = 0; at < WIDTH; at += 2) {
      const pixel = row * WIDTH + at
      rows[row * (1 + WIDTH / 2) + 1 + at / 2] = 16 * shades[pixel]! + shades[pixel + 1]!
    }
  }
  const signature = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a])
  const content = deflateSync(rows, { level: 9 })
  return Buffer.concat([
    signature,
    chunk('IHDR', header),
    chunk('PLTE', colours),
    chunk('IDAT', content),
    chunk('IEND', Buffer.alloc(0)),
  ])
}

type Row = { readonly name: string; readonly of: (sound: Sent) => readonly Samples[] }
type Sent = { readonly input: Stereo; readonly out: ReturnType<typeof throughWeightsOf> }

const ROWS: readonly Row[] = [
  { name: 'stereo', of: ({ input }) => [input.left, input.right] },
  { name: 'C', of: ({ out }) => [out.centre] },
  { name: 'L, R', of: ({ out }) => [out.left, out.right] },
  { name: 'Ls, Rs', of: ({ out }) => [out.leftSurround, out.rightSurround] },
]

const [EDGE, GAP, STEP_X, STEP_Y] = [56, 22, WIDTH + 36, HEIGHT + 26]

function drawing(columns: readonly { readonly title: string; readonly sent: Sent }[]): string {
  const yOf = (hz: number) => (HEIGHT * Math.log(HIGHEST_HZ / hz)) / Math.log(HIGHEST_HZ / LOWEST_HZ)
  const panels = columns.flatMap(({ title, sent }, column) =>
    ROWS.map(({ name, of }, row) => {
      const [x, y] = [EDGE + column * STEP_X, GAP + row * STEP_Y]
      const image = png(spectrogram(of(sent))).toString('base64')
      const marks = [100, 1000, 10000].map(
        (hz) =>
          `<text x="${x - 6}" y="${(y + yOf(hz) + 4).toFixed(1)}" text-anchor="end">${hz < 1000 ? hz : `${hz / 1000}k`}</text>`,
      )
      return [
        `<text x="${x}" y="${y - 6}">${title}: ${name}</text>`,
        `<image x="${x}" y="${y}" width="${WIDTH}" height="${HEIGHT}" href="data:image/png;base64,${image}"/>`,
        `<rect x="${x}" y="${y}" width="${WIDTH}" height="${HEIGHT}" fill="none" stroke="#888"/>`,
        ...(column === 0 ? marks : []),
      ].join('\n')
    }),
  )
  const seconds = columns.flatMap((_, column) =>
    Array.from({ length: SECONDS + 1 }, (_, second) => {
      const x = EDGE + column * STEP_X + (WIDTH * second) / SECONDS
      return `<text x="${x}" y="${GAP + 3 * STEP_Y + HEIGHT + 16}" text-anchor="middle">${START_SECONDS + second} s</text>`
    }),
  )
  const [width, height] = [EDGE + columns.length * STEP_X, GAP + ROWS.length * STEP_Y + 4]
  const head = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" width="${width}" height="${height}"`
  const style = 'font-family="sans-serif" font-size="11" fill="#222"'
  return [
    `${head} ${style}><title>The held-out full mix and its channels as spectrograms</title>`,
    '<rect width="100%" height="100%" fill="#fff"/>',
    ...panels,
    ...seconds,
    '</svg>\n',
  ].join('\n')
}

const kernels = loadKernels(384 * 1024 * 1024)
const stems = stemsOf(makeRecordedStems(), 'full')
const mix = summed(stems)
const plan = planFor(kernels, mix)
const dialogue = stems.find(({ name }) => name === 'dialogue')!
const columns = Object.entries({ 'full mix': mix, 'its dialogue': dialogue }).map(([title, input]) => ({
  title,
  sent: { input, out: throughWeightsOf(kernels, mix, input, plan) },
}))
writeFileSync(process.argv[2] ?? 'upmix.svg', drawing(columns))

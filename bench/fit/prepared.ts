// Programmes on disk, made once: the mix as a file, and what is known of it as energies and ear-marks.
import { execFileSync } from 'node:child_process'
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { kWeighted } from '../../test/testkit/k-weighted.ts'
import type { Planes } from '../../test/testkit/surround-mixes.ts'
import { makeProgramme, RATE, type Recipe } from './material.ts'

const FINE_HOP = RATE / 100
/** BS.1770-5, Table 3: L R C 1, surrounds 1.41 (+1.5 dB), LFE none. */
const SURROUND_WEIGHT = 1.41

export type Marks = { readonly truth100ms: readonly number[]; readonly hits10ms: readonly number[] }

/** A programme on disk; energies are K-weighted, summed over channels, in 10 ms. @source ITU-R BS.1770-5 Annex 1 */
export type Prepared = Marks & {
  readonly recipe: Pick<Recipe, 'name' | 'layout'>
  readonly path: string
  readonly mix10ms: Float64Array
  readonly dialogue10ms: Float64Array
  readonly background10ms: Float64Array
  /** Unweighted: highest sample of any channel, and mean square summed over them, LFE left out. */
  readonly peak10ms: Float64Array
  readonly power10ms: Float64Array
}

export const fileNameOf = ({ name }: Pick<Recipe, 'name'>) => name.replace(/\W+/g, '-')

export function prepare(recipe: Recipe, folder: string): Prepared {
  const stem = join(folder, fileNameOf(recipe))
  const marksPath = `${stem}.marks.json`
  if (!existsSync(marksPath)) make(recipe, folder, stem, marksPath)
  return found(recipe, stem, marksPath)
}

/** One programme of several, one after the other: files joined as they are, and what is known of them. */
export function prepareJoined(whole: Prepared['recipe'], recipes: readonly Recipe[], folder: string): Prepared {
  const stem = join(folder, fileNameOf(whole))
  const marksPath = `${stem}.marks.json`
  if (!existsSync(marksPath)) {
    const reels = recipes.map((recipe) => prepare(recipe, folder))
    writeFileSync(`${stem}.txt`, reels.map(({ path }) => `file '${path}'\n`).join(''))
    const joined = ['-f', 'concat', '-safe', '0', '-i', `${stem}.txt`, '-c', 'copy', '-bitexact', '-y', `${stem}.wav`]
    execFileSync('ffmpeg', ['-v', 'error', ...joined])
    for (const what of ENERGIES) {
      writeFileSync(`${stem}.${what}.f64`, Buffer.concat(reels.map((reel) => bytesOf(reel[`${what}10ms`]))))
    }
    const starts = reels.map((_, index) => reels.slice(0, index).reduce((sum, reel) => sum + reel.mix10ms.length, 0))
    const marks: Marks = {
      truth100ms: reels.flatMap(({ truth100ms }) => [...truth100ms]),
      hits10ms: reels.flatMap(({ hits10ms }, index) => hits10ms.map((hit) => hit + starts[index]!)),
    }
    writeFileSync(marksPath, JSON.stringify(marks))
  }
  return found(whole, stem, marksPath)
}

const ENERGIES = ['mix', 'dialogue', 'background', 'peak', 'power'] as const

const bytesOf = (values: Float64Array) => Buffer.from(values.buffer, values.byteOffset, values.byteLength)

function found(recipe: Prepared['recipe'], stem: string, marksPath: string): Prepared {
  const energies = (what: string) => {
    const bytes = readFileSync(`${stem}.${what}.f64`)
    return new Float64Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length))
  }
  const marks: Marks = JSON.parse(readFileSync(marksPath, 'utf8'))
  return {
    ...marks,
    recipe,
    path: `${stem}.wav`,
    mix10ms: energies('mix'),
    dialogue10ms: energies('dialogue'),
    background10ms: energies('background'),
    peak10ms: energies('peak'),
    power10ms: energies('power'),
  }
}

function make(recipe: Recipe, folder: string, stem: string, marksPath: string): void {
  mkdirSync(folder, { recursive: true })
  const { mix, dialogue, truth100ms, hits10ms } = makeProgramme(recipe)
  writeWav(`${stem}.wav`, mix, recipe)
  const speaking = recipe.layout === '5.1' ? [2] : [0, 1]
  const background = mix.map((plane, channel) => {
    return speaking.includes(channel) ? plane.map((x, n) => x - dialogue[n]!) : plane
  })
  writeFileSync(`${stem}.mix.f64`, energiesOf(mix))
  writeFileSync(`${stem}.background.f64`, energiesOf(background))
  const alone = energiesOf([dialogue]).map((energy) => energy * speaking.length)
  writeFileSync(`${stem}.dialogue.f64`, alone)
  const mains = mix.filter((_, channel) => !isLfe(mix.length, channel))
  writeFileSync(
    `${stem}.peak.f64`,
    inHops(mains, (most, x) => Math.max(most, Math.abs(x))),
  )
  writeFileSync(
    `${stem}.power.f64`,
    inHops(mains, (sum, x) => sum + (x * x) / FINE_HOP),
  )
  writeFileSync(marksPath, JSON.stringify({ truth100ms: [...truth100ms], hits10ms }))
}

const isLfe = (channelCount: number, channel: number) => channelCount === 6 && channel === 3

/** Samples of all planes gathered in 10 ms. */
function inHops(planes: Planes, gather: (before: number, sample: number) => number): Float64Array {
  const gathered = new Float64Array(Math.floor(planes[0]!.length / FINE_HOP))
  for (const plane of planes) {
    for (let i = 0; i < gathered.length * FINE_HOP; i++) {
      const hop = Math.floor(i / FINE_HOP)
      gathered[hop] = gather(gathered[hop]!, plane[i]!)
    }
  }
  return gathered
}

/** K-weighted energies in 10 ms of planes in channel order. */
export function energiesOf(planes: Planes): Float64Array {
  const energies = new Float64Array(Math.floor(planes[0]!.length / FINE_HOP))
  for (const [channel, plane] of planes.entries()) {
    if (isLfe(planes.length, channel)) continue
    const weight = planes.length === 6 && channel > 3 ? SURROUND_WEIGHT : 1
    const weighted = kWeighted(plane)
    for (let i = 0; i < energies.length * FINE_HOP; i++) {
      const hop = Math.floor(i / FINE_HOP)
      energies[hop]! += (weight * weighted[i]! * weighted[i]!) / FINE_HOP
    }
  }
  return energies
}

export function writeWav(path: string, planes: Planes, { layout, isHot }: Pick<Recipe, 'layout' | 'isHot'>): void {
  const channelCount = planes.length
  const samples = new Float32Array(planes[0]!.length * channelCount)
  for (const [channel, plane] of planes.entries()) {
    for (let n = 0; n < plane.length; n++) samples[n * channelCount + channel] = plane[n]!
  }
  const shape = ['-ar', String(RATE), '-ac', String(channelCount)]
  const named = ['-channel_layout', layout === '5.1' ? '5.1' : 'stereo']
  const codec = ['-c:a', isHot ? 'pcm_f32le' : 'pcm_s24le', '-bitexact', '-y', path]
  execFileSync('ffmpeg', ['-v', 'error', '-f', 'f32le', ...shape, ...named, '-i', 'pipe:0', ...codec], {
    input: Buffer.from(samples.buffer),
  })
}

import { createHash } from 'node:crypto'
import { closeSync, fsyncSync, openSync, rmSync, writeSync } from 'node:fs'
import { join } from 'node:path'
import {
  type AudioSource,
  bytesPerFrame,
  dbToGain,
  defaultSettings,
  gainToDb,
  LAYOUTS,
  type LayoutName,
  type Measured,
  type Segment,
  steadyUpmix,
  UPMIX_PARAMETERS,
} from '../src/domain/index.ts'
import { decodeChannel, type Kernels, keepBelowCeiling, takeGain, takePlane, writeGain } from '../src/dsp/index.ts'
import { compareFoldDown, compareWithMaster, measureSegment } from '../src/engine/measure/index.ts'
import { type RenderJob, renderSegment, upmixSegment } from '../src/engine/render/index.ts'
import { guardedSignals, loadPlanes, stretchAround } from '../src/engine/render/stretch.ts'
import type { Bench, RenderOrder } from '../src/engine/tasks.ts'
import { perform } from '../src/engine/work.ts'
import { loadKernels } from '../test/testkit/kernels.ts'
import { deciding } from './decide.ts'
import { excerptOf, planesInMemory, segmentsOf, sourceInMemory } from './excerpts.ts'
import { stereoMaster, surroundMix } from './music.ts'
import { median, type Table } from './table.ts'

/** As much as a worker has at 48 kHz. */
const KERNEL_BYTES = 192 * 1024 * 1024
const CEILING_DBTP = -2
/** Level of the highest sample against the ceiling. */
const CEILING_CASES = { 'at rest, 20 dB away': -20, 'at rest, 3 dB away': -3, 'working, 6 dB': 6 }
const PLAN = steadyUpmix(defaultSettings(UPMIX_PARAMETERS))
const DECODED_FRAMES = 48000

type Row = readonly [stage: string, realTime: number, realTimeOfCpu: number]
type Clock = (stage: string, work: () => void) => Row

/** Each stage by itself, in one thread, on the same excerpts in memory. */
export function stages(folder: string, rounds: number): readonly Table[] {
  const [master, mix] = [excerptOf(stereoMaster(folder)), excerptOf(surroundMix(folder))]
  const seconds = master.frameCount / master.format.sampleRateHz
  const clock = clockOf(rounds, seconds)
  const workplace = workplaceOf(master)
  const rows = [
    ...readingStages(clock, workplace.kernels, master, mix),
    ...makingStages(clock, workplace),
    ...provingStages(clock, workplace, folder),
  ]
  return [
    {
      title: 'Stages one by one, one thread, 48 kHz, 24 bit',
      columns: ['stage', 'x real time', 'x real time of CPU'],
      rows,
      notes: [
        `${rounds} rounds after a warm-up, medians, on ${seconds.toFixed(1)} s of music in memory.`,
        'x real time of CPU: by the processor time spent, whatever else the machine does.',
        'A task is what a worker does with one segment, reading and writing in memory.',
      ],
    },
    deciding(rounds),
  ]
}

function clockOf(rounds: number, seconds: number): Clock {
  return (stage, work) => {
    work()
    const wall: number[] = []
    const processor: number[] = []
    for (let round = 0; round < rounds; round++) {
      const before = process.cpuUsage()
      const start = performance.now()
      work()
      wall.push((performance.now() - start) / 1000)
      const { user, system } = process.cpuUsage(before)
      processor.push((user + system) / 1e6)
    }
    return [stage, seconds / median(wall), seconds / median(processor)]
  }
}

type Workplace = Bench & { readonly master: AudioSource; readonly order: RenderOrder }

/** A worker's bench whose files are in memory. */
function workplaceOf(master: AudioSource): Workplace {
  const { sampleRateHz } = master.format
  const written = (layout: LayoutName) => {
    const frameBytes = bytesPerFrame({ encoding: 'int24', channelCount: LAYOUTS[layout].length, sampleRateHz })
    const pcm = new Uint8Array(master.frameCount * frameBytes)
    const source = sourceInMemory(pcm, layout, { encoding: 'int24', sampleRateHz })
    const write = (bytes: Uint8Array, frame: number) => pcm.set(bytes, frame * frameBytes)
    return { source, sink: { format: source.format, write } }
  }
  const files = { multichannel: written('5.1'), stereo: written('2.0') }
  const fileOf = (name: string) => files[name as keyof typeof files]
  return {
    kernels: loadKernels(KERNEL_BYTES),
    cancellation: { aborted: false },
    speechWeights: new Float32Array(0),
    source: (name) => (name === 'source' ? master : fileOf(name).source),
    sink: (name) => fileOf(name).sink,
    planes: planesInMemory(4, master.frameCount),
    master,
    order: {
      audio: 'source',
      isUpmixed: true,
      writes: ['multichannel', 'stereo'],
      hasLfe: false,
      frontSpread: 1,
      isLtRt: false,
      gain: { staticGainDb: -6, rideDb: null, ceilingDbtp: CEILING_DBTP },
      encoding: 'int24',
      ditherSeed: [1, 2],
      stereo: true,
      writesGain: false,
    },
  }
}

/** Work on every segment of an excerpt; what it takes of the kernels' memory is given back. */
function everySegment(kernels: Kernels, source: AudioSource, work: (segment: Segment) => void): () => void {
  return () => {
    for (const segment of segmentsOf(source)) {
      const mark = kernels.arena.mark()
      work(segment)
      kernels.arena.release(mark)
    }
  }
}

function readingStages(clock: Clock, kernels: Kernels, master: AudioSource, mix: AudioSource): Row[] {
  const measured = (source: AudioSource, peakHistory = false) =>
    everySegment(kernels, source, (segment) => {
      measureSegment(kernels, source, segment, undefined, peakHistory)
    })
  return [
    clock('decode 5.1 to planes', () => decode(kernels, mix)),
    clock('measure 5.1 and its fold-down, with true peak', measured(mix)),
    clock('the same with the true peak of every 100 ms', measured(mix, true)),
    clock('measure stereo, with true peak', measured(master)),
  ]
}

function decode(kernels: Kernels, { format, frameCount, readInto }: AudioSource): void {
  const mark = kernels.arena.mark()
  const planes = Array.from({ length: format.channelCount }, () => takePlane(kernels, DECODED_FRAMES, false))
  const byteCount = DECODED_FRAMES * bytesPerFrame(format)
  const address = kernels.arena.take(byteCount)
  const pcm = { address, format, frameCount: DECODED_FRAMES }
  for (let frame = 0; frame + DECODED_FRAMES <= frameCount; frame += DECODED_FRAMES) {
    readInto(new Uint8Array(kernels.memory.buffer, address, byteCount), frame, DECODED_FRAMES)
    for (const [channel, plane] of planes.entries()) decodeChannel(kernels, pcm, channel, plane, 0)
  }
  kernels.arena.release(mark)
}

function makingStages(clock: Clock, workplace: Workplace): Row[] {
  const { kernels, master, order, planes } = workplace
  const every = (work: (segment: Segment) => void) => everySegment(kernels, master, work)
  const upmixTask = ({ index }: Segment) =>
    perform(workplace, { kind: 'upmix', segment: index, plan: PLAN, through: false })
  const [, upmixed] = segmentsOf(master).map(upmixTask) as [Measured, Measured]
  const highestDbfs = gainToDb(upmixed.linkedPeak100ms.reduce((a, b) => Math.max(a, b)))
  const job: RenderJob = { ...order, source: master, upmixed: planes }
  const unlimited = { ...job, gain: { ...job.gain, ceilingDbtp: null } }
  return [
    clock(
      'upmix of a stereo to C, Ls, Rs',
      every((segment) => upmixSegment(kernels, master, segment, PLAN)),
    ),
    clock('task: upmix, scratch planes, measuring of the 5.1', every(upmixTask)),
    ...Object.entries(CEILING_CASES).map(([name, aboveDb]) =>
      ceiling(clock, workplace, job, name, aboveDb - highestDbfs),
    ),
    clock(
      'gain and words, no ceiling',
      every((segment) => renderSegment(kernels, unlimited, segment)),
    ),
    clock(
      'task: render with a ceiling at rest, stereo against the master',
      every(({ index }) => perform(workplace, { kind: 'render', segment: index, order })),
    ),
  ]
}

/** The ceiling alone, on the second segment: planes and gains are ready before the clock starts. */
function ceiling(clock: Clock, { kernels, master }: Workplace, job: RenderJob, name: string, gainDb: number): Row {
  const { sampleRateHz } = master.format
  const [, segment] = segmentsOf(master) as [Segment, Segment]
  const mark = kernels.arena.mark()
  const stretch = stretchAround(master, segment, job.gain)
  const linked = guardedSignals(kernels, job, loadPlanes(kernels, job, stretch), stretch)
  const commonGain = takeGain(kernels, stretch.frameCount)
  const plan = { ...job.gain, staticGainDb: CEILING_DBTP + gainDb }
  writeGain(kernels, plan, sampleRateHz, stretch, commonGain)
  const row = clock(`ceiling ${name}`, () => {
    for (const _ of segmentsOf(master)) {
      const taken = kernels.arena.mark()
      keepBelowCeiling(kernels, {
        signals: linked,
        frameCount: stretch.frameCount,
        sampleRateHz,
        commonGain,
        ceilingGain: takeGain(kernels, stretch.frameCount),
        ceiling: dbToGain(CEILING_DBTP),
      })
      kernels.arena.release(taken)
    }
  })
  kernels.arena.release(mark)
  return row
}

/** What proves the bytes that the render left: comparison, hash, and the way to the disk. */
function provingStages(clock: Clock, { kernels, master, source }: Workplace, folder: string): Row[] {
  const [multichannel, stereo] = [source('multichannel'), source('stereo')]
  const every = (work: (segment: Segment) => void) => everySegment(kernels, master, work)
  const gain = new Float64Array(master.frameCount).fill(dbToGain(-6))
  const words = new Uint8Array(multichannel.frameCount * bytesPerFrame(multichannel.format))
  multichannel.readInto(words, 0, multichannel.frameCount)
  const path = join(folder, 'words.raw')
  return [
    clock(
      'fold-down of the 5.1 compared with the stereo',
      every((segment) => compareFoldDown(kernels, multichannel, stereo, segment)),
    ),
    clock(
      'stereo compared with the master',
      every((segment) => compareWithMaster(kernels, stereo, master, segment, gain)),
    ),
    clock('SHA-256 of the 5.1', () => createHash('sha256').update(words).digest()),
    clock('writing the 5.1 durably', () => {
      const file = openSync(path, 'w')
      writeSync(file, words)
      fsyncSync(file)
      closeSync(file)
      rmSync(path)
    }),
  ]
}

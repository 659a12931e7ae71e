// The body of the thread that makes what is heard, a little ahead of the player.
import type { FrameRange } from '../../domain/index.ts'
import { Arena, type KernelExports, type Kernels, kernelMemoryBytes, MODULE_BYTES } from '../../dsp/index.ts'
import { Feeder } from './feeder.ts'
import { LiveRender, type Wishes } from './live-render.ts'
import { type Way, WaysMeasured } from './match.ts'
import type { DeskShape } from './mixing-desk.ts'
import type { FromPlayer } from './player-worklet.ts'
import { type LiveSound, SoundWindow } from './sound-window.ts'

/** What the page tells the thread. */
export type ToLive =
  | {
      readonly kind: 'open'
      readonly source: LiveSound
      readonly feed: MessagePort
      /** Its one number changes with every wish and every seek: work for the one before is given up. */
      readonly turn: SharedArrayBuffer
    }
  | {
      readonly kind: 'wish'
      readonly wishes: Wishes
      /** The two tracks that the upmix starts from; null: the source. */
      readonly master: LiveSound | null
    }
  | { readonly kind: 'seek'; readonly frame: number; readonly journey: number; readonly speed: number }
  | { readonly kind: 'scrub'; readonly frame: number; readonly journey: number }
  | { readonly kind: 'loop'; readonly range: FrameRange | null }
  | { readonly kind: 'match'; readonly range: FrameRange; readonly ways: readonly Way[]; readonly shape: DeskShape }

/** What the thread tells the page. */
export type FromLive =
  | { readonly kind: 'failed'; readonly message: string }
  /** How loud a stretch is in each way that was asked for, in LKFS. */
  | { readonly kind: 'matched'; readonly loudness: ReadonlyMap<string, number | null> }

const PAGE_BYTES = 65_536

async function loadKernels(sampleRateHz: number): Promise<Kernels> {
  const pages = Math.ceil(kernelMemoryBytes(sampleRateHz) / PAGE_BYTES)
  const memory = new WebAssembly.Memory({ initial: pages, maximum: pages })
  const { instance } = await WebAssembly.instantiateStreaming(fetch('/kernels.wasm'), { env: { memory } })
  const exports = instance.exports as unknown as KernelExports
  return { exports, memory, arena: new Arena(MODULE_BYTES, pages * PAGE_BYTES) }
}

function windowOf({ title, address }: LiveSound): SoundWindow {
  return new SoundWindow(title, async (from, count) => {
    const answer = await fetch(`${address}&from=${from}&count=${count}`)
    if (!answer.ok) throw new Error('The desk gave no sound. Start it again.')
    return answer.arrayBuffer()
  })
}

function fail(error: unknown): void {
  self.postMessage({ kind: 'failed', message: (error as Error).message } satisfies FromLive)
}

let opened: Promise<{ readonly feeder: Feeder; readonly kernels: Kernels; readonly source: SoundWindow }> | null = null

async function open({ source, feed, turn }: Extract<ToLive, { kind: 'open' }>) {
  const kernels = await loadKernels(source.title.format.sampleRateHz)
  const window = windowOf(source)
  const feeder = new Feeder(window, new Int32Array(turn), (told) =>
    feed.postMessage(told, {
      transfer: Object.values(told.chunk.signals).flatMap((planes) => planes.map(({ buffer }) => buffer)),
    }),
  )
  feeder.follow(new LiveRender(kernels, window, window), window)
  feed.onmessage = ({ data }) => feeder.at(data as FromPlayer).catch(fail)
  return { feeder, kernels, source: window }
}

async function hear(message: ToLive): Promise<void> {
  if (message.kind === 'open') {
    opened = open(message)
    await opened
    return
  }
  if (opened === null) return
  const { feeder, kernels, source } = await opened
  if (message.kind === 'seek') return feeder.seek(message.frame, message.journey, message.speed)
  if (message.kind === 'scrub') return feeder.scrub(message.frame, message.journey)
  if (message.kind === 'loop') return feeder.loop(message.range)
  if (message.kind === 'match') {
    const measured = new WaysMeasured(message.shape, message.ways)
    await feeder.make(message.range, (chunk) => measured.add(chunk))
    return self.postMessage({ kind: 'matched', loudness: measured.loudness() } satisfies FromLive)
  }
  await feeder.wish(
    message.wishes,
    () => {
      const master = message.master === null ? source : windowOf(message.master)
      return { render: new LiveRender(kernels, source, master), master }
    },
    message.master?.address ?? '',
  )
}

self.onmessage = ({ data }) => hear(data as ToLive).catch(fail)

import type { Progress } from '../jobs/index.ts'

const BAR_CELLS = 28
const REDRAW_MS = 100
const PLAIN_STEP = 0.1

const DOING: Readonly<Record<Progress['stage'], string>> = {
  listen: 'listening for speech',
  analyse: 'analysing',
  inspect: 'inspecting',
  measure: 'measuring',
  forecast: 'forecasting the ceiling',
  render: 'rendering',
  verify: 'verifying the bytes written',
  write: 'writing the marked copy',
}

/** Tells on stderr how far a run is: a bar with the time left on a terminal, plain lines elsewhere. */
export class ProgressLine {
  readonly #out: NodeJS.WriteStream
  readonly #startedMs = performance.now()
  #drawnMs = 0
  #plainShare = 0
  #stage: Progress['stage'] | null = null
  #isDrawn = false

  constructor(out: NodeJS.WriteStream) {
    this.#out = out
  }

  show(progress: Progress): void {
    if (this.#out.isTTY) this.#draw(progress)
    else this.#tell(progress)
    this.#stage = progress.stage
  }

  /** Clears the bar, so that what follows starts on a clean line. */
  end(): void {
    if (this.#isDrawn) this.#out.write('\r\x1b[K')
    this.#isDrawn = false
  }

  #draw({ stage, share }: Progress): void {
    const now = performance.now()
    if (now - this.#drawnMs < REDRAW_MS && stage === this.#stage) return
    this.#drawnMs = now
    const full = Math.round(share * BAR_CELLS)
    const bar = '='.repeat(full) + ' '.repeat(BAR_CELLS - full)
    const line = `[${bar}] ${percent(share).padStart(4)}  ${DOING[stage]}${this.#timeLeft(share)}`
    this.#out.write(`\r${line}\x1b[K`)
    this.#isDrawn = true
  }

  #tell({ stage, share }: Progress): void {
    if (stage === this.#stage && share < this.#plainShare + PLAIN_STEP) return
    this.#plainShare = share
    this.#out.write(`${DOING[stage]}: ${percent(share)} of the run\n`)
  }

  #timeLeft(share: number): string {
    const elapsedMs = performance.now() - this.#startedMs
    if (share < 0.05 || elapsedMs < 1000) return ''
    const seconds = Math.ceil(((elapsedMs / share) * (1 - share)) / 1000)
    return seconds < 60 ? `, ${seconds} s left` : `, ${Math.floor(seconds / 60)} min ${seconds % 60} s left`
  }
}

function percent(share: number): string {
  return `${Math.floor(share * 100)}%`
}

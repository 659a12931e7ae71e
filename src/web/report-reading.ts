/** Lets the pointer or the arrow keys read time and loudness off the chart of a report. The page works without it. */

type Reading = {
  readonly columnSeconds: number
  readonly columnCount: number
  readonly startSeconds: number
  readonly durationSeconds: number
  readonly plot: { readonly left: number; readonly right: number; readonly top: number; readonly bottom: number }
  readonly shortTermLkfs: readonly (number | null)[]
  readonly momentaryLkfs: readonly (number | null)[]
  readonly sourceLkfs: readonly (number | null)[] | null
}

const SVG = 'http://www.w3.org/2000/svg'
const PAGE_COLUMNS = 20

function printTime(seconds: number): string {
  const tenths = Math.round(seconds * 10)
  const whole = Math.floor(tenths / 10)
  const two = (n: number) => String(n).padStart(2, '0')
  return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}.${tenths % 10}`
}

function printLevel(level: number | null | undefined): string {
  return level == null ? 'silent' : level.toFixed(1).replace('-', '\u2212')
}

function attach(chart: SVGSVGElement, output: HTMLElement, reading: Reading): void {
  const { plot, columnCount, columnSeconds } = reading
  const sight = document.createElementNS(SVG, 'path')
  sight.setAttribute('class', 'sight')
  chart.append(sight)
  let column = 0

  const show = (wanted: number) => {
    column = Math.min(columnCount - 1, Math.max(0, wanted))
    const seconds = Math.min(reading.durationSeconds, (column + 0.5) * columnSeconds)
    const x = plot.left + (seconds / reading.durationSeconds) * (plot.right - plot.left)
    sight.setAttribute('d', `M${x.toFixed(1)} ${plot.top}V${plot.bottom}`)
    const source = reading.sourceLkfs === null ? '' : `, source ${printLevel(reading.sourceLkfs[column])}`
    output.textContent =
      `${printTime(reading.startSeconds + column * columnSeconds)}  short-term ${printLevel(reading.shortTermLkfs[column])}, ` +
      `momentary ${printLevel(reading.momentaryLkfs[column])}${source} LKFS`
  }

  const hide = () => {
    sight.removeAttribute('d')
    output.textContent = ''
  }

  chart.addEventListener('pointermove', (event) => {
    const matrix = chart.getScreenCTM()
    if (matrix === null) return
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse())
    const share = (at.x - plot.left) / (plot.right - plot.left)
    if (share < 0 || share > 1) hide()
    else show(Math.floor((share * reading.durationSeconds) / columnSeconds))
  })
  chart.addEventListener('pointerleave', hide)
  chart.addEventListener('blur', hide)
  chart.addEventListener('focus', () => show(column))

  const steps: Readonly<Record<string, () => number>> = {
    ArrowLeft: () => column - 1,
    ArrowRight: () => column + 1,
    PageUp: () => column - PAGE_COLUMNS,
    PageDown: () => column + PAGE_COLUMNS,
    Home: () => 0,
    End: () => columnCount - 1,
  }
  chart.addEventListener('keydown', (event) => {
    const step = steps[event.key]
    if (step === undefined) return
    event.preventDefault()
    show(step())
  })
  chart.setAttribute('tabindex', '0')
}

const chart = document.querySelector<SVGSVGElement>('#loudness')
const output = document.querySelector<HTMLElement>('#reading')
const written = document.querySelector('#reading-data')?.textContent
if (chart !== null && output !== null && written) attach(chart, output, JSON.parse(written) as Reading)

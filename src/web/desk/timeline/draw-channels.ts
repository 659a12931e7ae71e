import { dbToGain, powerToDb, WAVEFORM_FULL_SCALE } from '../../../domain/index.ts'
import { signed } from '../words.ts'
import { baseline, type Drawing, hopsAt, line, written } from './canvas.ts'

const DEPTH_DB = 54

/** Each channel: folded as its level, opened as its waveform. */
export function drawChannels(drawing: Drawing): void {
  for (const channel of drawing.scene.channels.keys()) {
    if (drawing.scene.waveform.isOpen[channel]) drawWaveform(drawing, channel)
    else drawLevel(drawing, channel)
  }
}

function drawLevel({ canvas, ink, scene, lanes }: Drawing, channel: number): void {
  const { powers } = scene.channels[channel]!
  const lane = lanes.channels[channel]!
  canvas.fillStyle = ink.slate
  canvas.globalAlpha = 0.75
  for (let column = 0; column < lanes.width; column++) {
    const [first, end] = hopsAt(scene, column, lanes.width)
    let highest = 0
    for (let hop = first; hop < end; hop++) highest = Math.max(highest, powers[hop] ?? 0)
    if (highest === 0) continue
    const share = Math.max(0, Math.min(1, 1 + powerToDb(highest) / DEPTH_DB))
    canvas.fillRect(lanes.left + column, lane.top + lane.height * (1 - share), 1, lane.height * share)
  }
  canvas.globalAlpha = 1
  baseline(canvas, ink, lanes, lane)
}

/** From the lowest to the highest sample under each column of pixels, a thin line where it is silent. */
function drawWaveform({ canvas, ink, scene, lanes }: Drawing, channel: number): void {
  const { seen, sampleRateHz, waveform } = scene
  const { top, height } = lanes.channels[channel]!
  const columns = Math.ceil(lanes.width)
  const to = seen.from + ((seen.to - seen.from) * columns) / lanes.width
  const extremes = waveform.tiles.extremes(channel, seen.from * sampleRateHz, to * sampleRateHz, columns)
  const scale = height / 2 / (WAVEFORM_FULL_SCALE * dbToGain(waveform.topDbfs))
  const middle = top + height / 2
  canvas.fillStyle = ink.chart
  canvas.fillRect(lanes.left, top, lanes.width, height)
  canvas.fillStyle = ink.tide
  for (let column = 0; column < columns; column++) {
    const [lowest, highest] = [extremes[2 * column]!, extremes[2 * column + 1]!]
    if (lowest > highest) continue
    const upper = Math.max(top, middle - highest * scale)
    const lower = Math.min(top + height, middle - lowest * scale)
    canvas.fillRect(lanes.left + column, upper, 1, Math.max(1, lower - upper))
  }
  canvas.strokeStyle = ink.slate
  canvas.globalAlpha = 0.5
  line(canvas, lanes.left, middle, lanes.left + lanes.width, middle)
  canvas.globalAlpha = 1
  canvas.fillStyle = ink.ink
  canvas.textAlign = 'right'
  canvas.textBaseline = 'top'
  written(canvas, ink.chart, `${signed(waveform.topDbfs, 0)} dBFS`, lanes.left + lanes.width - 6, top + 2)
}

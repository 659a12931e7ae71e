import { dbToGain, powerToDb, WAVEFORM_FULL_SCALE } from '../../../domain/index.ts'
import { signed } from '../words.ts'
import { baseline, columnsPath, type Drawing, hopsAt, line, written } from './canvas.ts'

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
  const floor = lane.top + lane.height
  const level = columnsPath(lanes, (column) => {
    const [first, end] = hopsAt(scene, column, lanes.width)
    let highest = 0
    for (let hop = Math.max(0, first); hop < end && hop < powers.length; hop++) {
      const power = powers[hop]!
      if (power > highest) highest = power
    }
    if (highest === 0) return null
    const share = Math.max(0, Math.min(1, 1 + powerToDb(highest) / DEPTH_DB))
    return share === 0 ? null : [floor - lane.height * share, floor]
  })
  canvas.fill(level)
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
  const wave = columnsPath(lanes, (column) => {
    const [lowest, highest] = [extremes[2 * column]!, extremes[2 * column + 1]!]
    if (lowest > highest) return null
    const upper = Math.max(top, middle - highest * scale)
    return [upper, Math.max(upper + 1, Math.min(top + height, middle - lowest * scale))]
  })
  canvas.fill(wave)
  canvas.strokeStyle = ink.slate
  canvas.globalAlpha = 0.5
  line(canvas, lanes.left, middle, lanes.left + lanes.width, middle)
  canvas.globalAlpha = 1
  canvas.fillStyle = ink.ink
  canvas.textAlign = 'right'
  canvas.textBaseline = 'top'
  written(canvas, ink.chart, `${signed(waveform.topDbfs, 0)} dBFS`, lanes.left + lanes.width - 6, top + 2)
}

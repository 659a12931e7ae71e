// Runs in the page, and knows nothing of the desk: see the tests of the picture.
// The sound is a ramp that tells by its height which instant it is; the picture counts itself in black and white.
/* global AudioNode, AudioDestinationNode */
const connect = AudioNode.prototype.connect
AudioNode.prototype.connect = function (target, ...more) {
  if (target instanceof AudioDestinationNode && window.tap === undefined) {
    const split = new ChannelSplitterNode(this.context)
    window.tap = new AnalyserNode(this.context, { fftSize: 32 })
    connect.call(this, split)
    connect.call(split, window.tap, 0)
  }
  return connect.call(this, target, ...more)
}

/** The instant that leaves the device at a moment of this page's clock: by the height of the ramp, and what the browser says of the way. */
function heardSeconds(atMs, { gain, secondsPerUnit, speed }) {
  const samples = new Float32Array(32)
  window.tap.getFloatTimeDomainData(samples)
  const { context } = window.tap
  const { contextTime, performanceTime } = context.getOutputTimestamp()
  const leaving = contextTime + (atMs - performanceTime) / 1000
  return (samples[31] / gain) * secondsPerUnit - speed * (context.currentTime - leaving)
}

const canvas = document.createElement('canvas')
const drawing = () => canvas.getContext('2d', { willReadFrequently: true })

/** The number that the picture shows. */
window.pictureNumber = () => {
  const video = document.querySelector('video')
  canvas.width = video.videoWidth
  canvas.height = video.videoHeight
  const context = drawing()
  context.drawImage(video, 0, 0)
  let number = 0
  for (let bit = 0; bit < 10; bit++) {
    const [red] = context.getImageData(32 * bit + 16, 140, 1, 1).data
    if (red > 127) number += 2 ** bit
  }
  return number
}

/** For some seconds: each picture as it comes to the screen, and what is heard at that moment. */
window.watchPicture = (seconds, sound) =>
  new Promise((resolve) => {
    const video = document.querySelector('video')
    const seen = []
    const end = performance.now() + seconds * 1000
    const look = (now, { expectedDisplayTime, mediaTime }) => {
      const heard = heardSeconds(expectedDisplayTime, sound)
      seen.push({ number: window.pictureNumber(), mediaTime, heard, atMs: expectedDisplayTime })
      if (now < end) video.requestVideoFrameCallback(look)
    }
    video.requestVideoFrameCallback(look)
    setTimeout(() => resolve(seen), seconds * 1000 + 200)
  })

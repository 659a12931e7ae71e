// Runs in the page, and knows nothing of the test: see listening.ts.
/** Points come as plain numbers. */
const points = (value) => {
  if (Array.isArray(value?.points)) return Float64Array.from(value.points)
  if (value === null || typeof value !== 'object' || Array.isArray(value)) return value
  return Object.fromEntries(Object.entries(value).map(([name, inner]) => [name, points(inner)]))
}

// biome-ignore lint/correctness/noUnusedVariables: called by the test
async function rehearse(rehearsal) {
  const { source, master, shape, asked, fromSecond, seconds, loop = null } = rehearsal
  const wishes = { ...rehearsal.wishes, gain: points(rehearsal.wishes.gain) }
  const live = new Worker('/live.js', { type: 'module' })
  const failed = new Promise((_, reject) => {
    live.onmessage = ({ data }) => reject(new Error(data.message))
  })
  const { port1, port2 } = new MessageChannel()
  const turn = new SharedArrayBuffer(4)
  const firstFrame = fromSecond * shape.sampleRateHz
  live.postMessage({ kind: 'open', source, feed: port2, turn }, [port2])
  live.postMessage({ kind: 'wish', wishes, master })
  live.postMessage({ kind: 'seek', frame: firstFrame, journey: 1, speed: 1 })
  const exact = new Map()
  const made = new Promise((resolve) => {
    port1.onmessage = ({ data }) => {
      const index = Math.round(data.chunk.firstFrame / shape.chunkFrames)
      if (data.journey === 1 && data.chunk.isExact) exact.set(index, data)
      let next = fromSecond
      while (exact.has(next)) next += 1
      if (next >= fromSecond + seconds) resolve()
      else port1.postMessage({ frame: next * shape.sampleRateHz, journey: 1, missedBlocks: 0 })
    }
  })
  await Promise.race([made, failed])
  live.terminate()

  const outputs = asked[0].asked.matrix.length
  const context = new OfflineAudioContext(outputs, seconds * shape.sampleRateHz, shape.sampleRateHz)
  await context.audioWorklet.addModule('/player.js')
  const node = new AudioWorkletNode(context, 'plimsoll-player', {
    numberOfInputs: 0,
    outputChannelCount: [outputs],
    processorOptions: { shape, asked: asked[0].asked },
  })
  node.connect(context.destination)
  let missedBlocks = 0
  node.port.onmessage = ({ data }) => {
    missedBlocks = data.missedBlocks
  }
  const feed = new MessageChannel()
  const rest = () => new Promise((resolve) => setTimeout(resolve, 500))
  const begin = async () => {
    node.port.postMessage({ kind: 'feed', port: feed.port1 }, [feed.port1])
    node.port.postMessage({ kind: 'seek', frame: firstFrame, journey: 1, speed: 1 })
    node.port.postMessage({ kind: 'loop', range: loop })
    for (const one of exact.values()) feed.port2.postMessage(one)
    node.port.postMessage({ kind: 'play', isPlaying: true })
    await rest()
    await context.resume()
  }
  void context.suspend(0).then(begin)
  for (const { atSecond, asked: then } of asked.slice(1)) {
    void context.suspend(atSecond).then(async () => {
      node.port.postMessage({ kind: 'ask', asked: then })
      await rest()
      await context.resume()
    })
  }
  const buffer = await context.startRendering()
  const interleaved = new Float32Array(buffer.length * outputs)
  for (let channel = 0; channel < outputs; channel++) {
    const plane = buffer.getChannelData(channel)
    for (let i = 0; i < plane.length; i++) interleaved[i * outputs + channel] = plane[i]
  }
  const bytes = new Uint8Array(interleaved.buffer)
  let text = ''
  for (let at = 0; at < bytes.length; at += 32768) text += String.fromCharCode(...bytes.subarray(at, at + 32768))
  return { base64: btoa(text), missedBlocks }
}

// biome-ignore lint/correctness/noUnusedVariables: called by the test
async function measureWays({ source, master, shape, wishes, ways, fromSecond, seconds, skippedSeconds }) {
  const live = new Worker('/live.js', { type: 'module' })
  const { port2 } = new MessageChannel()
  live.postMessage({ kind: 'open', source, feed: port2, turn: new SharedArrayBuffer(4) }, [port2])
  live.postMessage({ kind: 'wish', wishes: { ...wishes, gain: points(wishes.gain) }, master })
  const range = {
    startFrame: (fromSecond + skippedSeconds) * shape.sampleRateHz,
    endFrame: (fromSecond + seconds) * shape.sampleRateHz,
  }
  live.postMessage({ kind: 'match', range, ways, shape })
  const { loudness } = await new Promise((resolve, reject) => {
    live.onmessage = ({ data }) => (data.kind === 'matched' ? resolve(data) : reject(new Error(data.message)))
  })
  live.terminate()
  return [...loudness]
}

// What `inspect` says of real programmes in which something was planted, through the built command.
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { inspectDocument } from '../../src/protocol/index.ts'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)

/** Common practice: tone, then black, then the programme at 10:00:00:00 (25 frames a second). */
const TONE_SECONDS = 6
const BLACK_SECONDS = 4
const ACTION_SECONDS = 40
const TIMECODE = ['--timecode-rate', '25', '--timecode-start', '09:59:50:00']

beforeAll(() => {
  mixMaster(at('plain.wav'), { musicDb: -20, speechDb: -4, seconds: ACTION_SECONDS })
  const head = [
    '-f',
    'lavfi',
    '-i',
    `sine=frequency=1000:sample_rate=48000:duration=${TONE_SECONDS}`,
    '-f',
    'lavfi',
    '-i',
    `anullsrc=sample_rate=48000:channel_layout=stereo:duration=${BLACK_SECONDS}`,
  ]
  // FFmpeg's sine has an amplitude of 1/8; -18 dBFS is the line-up level of EBU R 68.
  const graph =
    '[0:a]volume=1.0071,pan=stereo|c0=c0|c1=c0[t];[t][1:a][2:a]concat=n=3:v=0:a=1,' +
    // The right track is lost for eight seconds of the programme.
    "channelsplit[l][r];[r]volume=0:enable='between(t,22,30)'[lost];[l][lost]join=inputs=2:channel_layout=stereo[o]"
  ffmpeg(...head, '-i', at('plain.wav'), '-filter_complex', graph, '-map', '[o]', '-c:a', 'pcm_s24le', at('reel.wav'))
  ffmpeg('-i', at('plain.wav'), '-af', 'pan=stereo|c0=c0|c1=-1*c1', '-c:a', 'pcm_s24le', at('flipped.wav'))
}, PREPARATION_MS)

describe('a reel with tone, black and a track that is lost for eight seconds', () => {
  test('is mapped in timecode, and the loss has its place', { timeout: PREPARATION_MS }, async () => {
    const run = await plimsollMust(['inspect', at('reel.wav'), ...TIMECODE, '--json'], 1)
    const [file] = inspectDocument.parse(run.json()).files
    expect(file!.timecode).toEqual({ rate: '25', dropFrame: false })
    const tone = file!.structure.segments.find(({ kind }) => kind === 'tone')!
    expect([tone.startTimecode, tone.endTimecode]).toEqual(['09:59:50:00', '09:59:56:00'])
    expect(file!.structure.tones[0]!.levelDbfs).toBeCloseTo(-18, 1)
    expect(file!.structure.action!.startSeconds).toBeCloseTo(TONE_SECONDS + BLACK_SECONDS, 0)
    const lost = file!.faults.faults.find(({ id }) => id === 'intermittent-channel' || id === 'dropout')!
    expect(lost.channels).toEqual(['R'])
    expect(Math.abs(lost.startSeconds - 22)).toBeLessThan(0.1)
    expect(Math.abs(lost.endSeconds - 30)).toBeLessThan(0.1)
  })

  test('reads the same with one worker, and as text', { timeout: PREPARATION_MS }, async () => {
    const words = ['inspect', at('reel.wav'), ...TIMECODE]
    const one = await plimsollMust([...words, '--json', '--workers', '1'], 1)
    const two = await plimsollMust([...words, '--json', '--workers', '2'], 1)
    expect(one.stdout === two.stdout).toBe(true)
    const { stdout } = await plimsollMust(words, 1)
    expect(stdout).toMatch(/09:59:50:00 {2}09:59:56:00 {2}tone/)
    expect(stdout).toMatch(/FAULT +10:00:12:\d\d/)
  })
})

test('a track that is upside down is named, and cannot be delivered', { timeout: PREPARATION_MS }, async () => {
  const run = await plimsollMust(['inspect', at('flipped.wav'), '--no-speech', '--json'], 1)
  const [file] = inspectDocument.parse(run.json()).files
  expect(file!.twoTrack!.kind).toBe('polarity-inverted')
  expect(file!.dialogueShare).toBeNull()
})

test('a plain stereo master can be delivered, and shows that it was Vorbis once', {
  timeout: PREPARATION_MS,
}, async () => {
  const run = await plimsollMust(['inspect', at('plain.wav'), '--json'], 0)
  const [file] = inspectDocument.parse(run.json()).files
  expect(file!.twoTrack!.kind).toBe('plain-stereo')
  expect(file!.spectrum.map(({ bandLimit }) => bandLimit?.suggests)).toEqual(['lossy-coding', 'lossy-coding'])
})

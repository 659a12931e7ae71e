import { type FoundTone, type FrameRange, powerToDb, type Role } from '../../../domain/index.ts'
import type { ToneRun } from './evidence.ts'

/** Longest video frame, at 23.976 a second, with room for edges that are not sharp. */
const LONGEST_POP_SECONDS = 0.055
/** Bursts that follow each other within this belong to one tone: ident tones are interrupted for 0.25 s or so. */
const LONGEST_INTERRUPTION_SECONDS = 1
/** A tone of a usual line-up frequency counts from here on; shorter ones are beeps ... */
const SHORTEST_TONE_SECONDS = 2
/** ... and one of any other frequency from here on: an instrument may hold a note alone for a while. */
const SHORTEST_UNUSUAL_TONE_SECONDS = 6
const FREQUENCY_TOLERANCE = 0.003
/** Same channel, same tone, where one segment of work ends and the next begins. */
const LARGEST_JOIN_RATIO = 1.01
/** A silence in a channel that outlasts this share of the tone means that the tone is not always in it. */
const LONGEST_GAP_SECONDS = 0.05

/**
 * Line-up frequencies: 1 kHz (SMPTE RP 155, EBU R 68), 997 Hz (AES17), those of tape alignment and of cable tests
 * (common practice), and 1 kHz played at a wrong speed.
 */
const LINE_UP_HZ = [
  1000, 997, 100, 315, 400, 440, 500, 2000, 3150, 5000, 6300, 8000, 10000, 12500, 14000, 15000, 16000, 960, 1041.667,
  918.75, 1088.435,
]

/** Joins the runs of all channels and segments to tones in order of time. */
export function gatherTones(
  runs: readonly ToneRun[],
  roles: readonly Role[],
  sampleRateHz: number,
): { readonly tones: readonly FoundTone[]; readonly beeps: readonly FoundTone[] } {
  const bursts = overlapping(joinBorders(runs))
  const isPop = (burst: Burst) => seconds(burst, sampleRateHz) <= LONGEST_POP_SECONDS
  const groups = sequences(
    bursts.filter((burst) => !isPop(burst)),
    LONGEST_INTERRUPTION_SECONDS * sampleRateHz,
  )
  const found = groups.map((group) => describeTone(group, roles, sampleRateHz))
  const pops = bursts
    .filter(isPop)
    .map((pop) => ({ ...describeTone([pop], roles, sampleRateHz), kind: 'pop' as const }))
  const isTone = (tone: FoundTone) =>
    seconds(tone, sampleRateHz) >= (isUsual(tone.frequencyHz) ? SHORTEST_TONE_SECONDS : SHORTEST_UNUSUAL_TONE_SECONDS)
  const beeps = found.filter((tone) => !isTone(tone)).map((tone) => ({ ...tone, kind: 'beep' as const }))
  return { tones: found.filter(isTone), beeps: [...pops, ...beeps].toSorted((a, b) => a.startFrame - b.startFrame) }
}

function isUsual(frequencyHz: number): boolean {
  return LINE_UP_HZ.some((usual) => Math.abs(frequencyHz / usual - 1) < FREQUENCY_TOLERANCE)
}

function seconds({ startFrame, endFrame }: FrameRange, sampleRateHz: number): number {
  return (endFrame - startFrame) / sampleRateHz
}

/** Runs of one channel that were cut at the border of two segments become one again. */
function joinBorders(runs: readonly ToneRun[]): ToneRun[] {
  const joined: ToneRun[] = []
  const open = new Map<number, number>()
  for (const run of runs.toSorted((a, b) => a.startFrame - b.startFrame)) {
    const index = open.get(run.channel)
    const before = index === undefined ? undefined : joined[index]
    if (before !== undefined && run.startFrame <= before.endFrame && isSameTone(before, run)) {
      const [a, b] = [before.endFrame - before.startFrame, run.endFrame - run.startFrame]
      joined[index!] = {
        ...before,
        endFrame: Math.max(before.endFrame, run.endFrame),
        frequencyHz: (before.frequencyHz * a + run.frequencyHz * b) / (a + b),
      }
    } else {
      open.set(run.channel, joined.length)
      joined.push(run)
    }
  }
  return joined
}

function isSameTone(a: ToneRun, b: ToneRun): boolean {
  const ratio = a.frequencyHz / b.frequencyHz
  return Math.max(ratio, 1 / ratio) < LARGEST_JOIN_RATIO
}

type Burst = FrameRange & { readonly runs: readonly ToneRun[] }

/** Runs that overlap in time, whatever their channels. */
function overlapping(runs: readonly ToneRun[]): Burst[] {
  const bursts: Burst[] = []
  for (const run of runs.toSorted((a, b) => a.startFrame - b.startFrame)) {
    const last = bursts.at(-1)
    if (last !== undefined && run.startFrame < last.endFrame) {
      const endFrame = Math.max(last.endFrame, run.endFrame)
      bursts[bursts.length - 1] = { startFrame: last.startFrame, endFrame, runs: [...last.runs, run] }
    } else {
      bursts.push({ startFrame: run.startFrame, endFrame: run.endFrame, runs: [run] })
    }
  }
  return bursts
}

function sequences(bursts: readonly Burst[], longestGapFrames: number): Burst[][] {
  const groups: Burst[][] = []
  for (const burst of bursts) {
    const last = groups.at(-1)
    if (last !== undefined && burst.startFrame - last.at(-1)!.endFrame <= longestGapFrames) last.push(burst)
    else groups.push([burst])
  }
  return groups
}

function describeTone(bursts: readonly Burst[], roles: readonly Role[], sampleRateHz: number): FoundTone {
  const runs = bursts.flatMap((burst) => burst.runs)
  const longest = runs.reduce((best, run) =>
    run.endFrame - run.startFrame > best.endFrame - best.startFrame ? run : best,
  )
  const startFrame = bursts[0]!.startFrame
  const endFrame = bursts.at(-1)!.endFrame
  const channels = roles.filter((_, channel) => runs.some((run) => run.channel === channel))
  const gap = LONGEST_GAP_SECONDS * sampleRateHz
  const isWhole = (channel: number) =>
    runs.some((run) => run.channel === channel && run.startFrame - startFrame < gap && endFrame - run.endFrame < gap)
  const isSteady = channels.every((role) => isWhole(roles.indexOf(role)))
  return {
    startFrame,
    endFrame,
    kind: isSteady ? 'steady' : 'interrupted',
    channels,
    frequencyHz: longest.frequencyHz,
    levelDbfs: powerToDb(2 * longest.power),
  }
}

import { expect, test } from 'vitest'
import { measuredOf, steps } from '../../test/testkit/programmes.ts'
import { defaultSettings, FIT_PARAMETERS, type Measured } from '../domain/index.ts'
import type { Crew } from './crew.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import { decide, joinAnalysed } from './forecast-pass.ts'
import type { ResultOf, Task } from './tasks.ts'

const SEGMENT_SECONDS = 25.6

/** A segment at -24 LKFS, so that no gain is needed, whose samples and true peak reach these levels. */
function segmentAt24(samplePeak: number, truePeak: number): Measured {
  const measured = measuredOf(steps([SEGMENT_SECONDS, -24]))
  const peaks = { samplePeak: { value: samplePeak, frameIndex: 0 }, truePeak: { value: truePeak, frameIndex: 0 } }
  return {
    ...measured,
    linkedPeak100ms: measured.linkedPeak100ms.map(() => samplePeak),
    channels: measured.channels.map(() => peaks),
  }
}

async function tried(segments: readonly Measured[]): Promise<number[]> {
  const asked: number[] = []
  const crew: Crew = {
    async map<T extends Task>(tasks: readonly T[]): Promise<ResultOf<T>[]> {
      asked.push(...tasks.map(({ segment }) => segment))
      return tasks.map(({ segment }) => segments[segment]) as ResultOf<T>[]
    },
  }
  const source = { document: 'test', edition: '-', clause: '-', basis: 'user' } as const
  const order = {
    source: { sha256: Promise.resolve('0123456789abcdef'), sampleRateHz: 48000, frameCount: 0 },
    spec: {
      id: 'test',
      anchor: 'programme',
      programmeLoudness: { targetLkfs: -24, toleranceBelowLu: 2, toleranceAboveLu: 2, source },
      maxTruePeakDbtp: { value: -2, severity: 'fail', source },
      notes: [],
    },
    upmix: null,
    fit: defaultSettings(FIT_PARAMETERS),
    trims: [],
    locks: [],
  } as unknown as DeliveryOrder
  await decide(order, { ...joinAnalysed(segments, null), speech: null }, crew, () => {})
  return asked
}

// The ceiling aims at -2.1 dBTP, 0.785 of full scale; an interpolated peak is at most 2.02 times its samples (BS.1770-5
// Annex 2). Samples at 0.6 leave room for a peak above the ceiling; the measured true peak tells whether there is one.
test('a trial is made of the segments alone whose true peak comes within 1 dB of the ceiling', async () => {
  expect(await tried([segmentAt24(0.1, 0.1), segmentAt24(0.6, 0.65), segmentAt24(0.6, 0.75)])).toEqual([2])
})

test('no trial at all where no true peak comes near', async () => {
  expect(await tried([segmentAt24(0.6, 0.65), segmentAt24(0.3, 0.4)])).toEqual([])
})

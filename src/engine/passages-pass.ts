import { type DeliverySpec, type Passage, programmeSeconds, specForLength } from '../domain/index.ts'
import { bySegment, trimmedOf } from './by-segment.ts'
import type { Crew, Progress, Watch } from './crew.ts'
import { joinLevelSteps } from './intake/index.ts'
import { measureProgramme, type ProgrammeMeasurement, type ProgrammeOnDisk } from './run.ts'
import { findPassages } from './verify/index.ts'
import { roleOf } from './verify-pass.ts'

/** Share of the time that measuring takes; the rest looks for level steps. Only the progress line depends on it. */
const MEASURING = 0.6

/** Measures a file against a spec and finds the places worth going back to. */
export async function passagesOfProgramme(
  crew: Crew,
  programme: ProgrammeOnDisk,
  spec: DeliverySpec,
  watch: Watch,
  listens: boolean,
): Promise<ProgrammeMeasurement & { readonly passages: readonly Passage[] }> {
  const tell = (stage: Progress['stage'], share: number) => watch.progress?.({ stage, share })
  const measuring: Watch = { ...watch, progress: ({ stage, share }) => tell(stage, share * MEASURING) }
  const measurement = await measureProgramme(crew, programme, spec, measuring, listens, true)
  const task = (segment: number) => ({ kind: 'level-steps', segment, trimmed: trimmedOf(programme) }) as const
  const steps = await bySegment(crew, programme, task, (share) => tell('inspect', MEASURING + share * (1 - MEASURING)))
  const { layout, sampleRateHz, frameCount } = programme
  const { parts, speech } = measurement
  const levelSteps = joinLevelSteps(steps, { layout, sampleRateHz, frameCount, speech })
  const passages = findPassages({
    parts,
    frameCount,
    spec: specForLength(spec, programmeSeconds(programme)),
    role: roleOf(layout),
    speech,
    levelSteps,
  })
  return { ...measurement, passages }
}

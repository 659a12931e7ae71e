import { segmentCount } from '../domain/index.ts'
import { kernelMemoryBytes } from '../dsp/index.ts'
import { chooseWorkerCount, WorkerCrew } from './crew.ts'
import { compileKernels, type KernelModule } from './kernels.ts'
import type { OpenedSource } from './source.ts'
import { loadSpeechWeights } from './speech-model.ts'
import type { Places } from './workplace.ts'

/** How a job is run: how many workers, and the signal that stops it. */
export type JobOptions = {
  readonly workers?: number | undefined
  readonly signal?: AbortSignal | undefined
  /** Whether dialogue is listened for, where a job does so; default true. */
  readonly speech?: boolean | undefined
}

/** Whether a job that can listen shall. */
export function isListening({ speech }: JobOptions): boolean {
  return speech !== false
}

type Hiring = JobOptions & { readonly listens?: boolean; readonly aside?: boolean | undefined }

/** Hires a crew for a source; whoever hires it lets it go. */
export function hireCrew(source: OpenedSource, options: Hiring, places: Places): WorkerCrew {
  const { sampleRateHz } = source.format
  return new WorkerCrew({
    module: compileKernels().module,
    memoryBytes: kernelMemoryBytes(sampleRateHz),
    workerCount: chooseWorkerCount(options.workers, segmentCount(source.frameCount, sampleRateHz)),
    places,
    aside: options.aside ?? false,
    speechWeights: options.listens ? loadSpeechWeights() : null,
  })
}

/** Hires a crew for a source, hands it to `job` and lets it go, whatever happens. */
export async function withCrew<T>(
  source: OpenedSource,
  options: Hiring,
  job: (crew: WorkerCrew, kernels: KernelModule) => Promise<T>,
  places: Places = { source: source.location },
): Promise<T> {
  const crew = hireCrew(source, options, places)
  const stop = (): void => crew.stop()
  options.signal?.addEventListener('abort', stop)
  if (options.signal?.aborted) crew.stop()
  try {
    return await job(crew, compileKernels())
  } finally {
    options.signal?.removeEventListener('abort', stop)
    await crew.close()
  }
}

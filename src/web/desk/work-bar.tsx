import type { WorkMessage } from '../../protocol/index.ts'
import { stopWork } from './calls.ts'

const WORDS: Readonly<Record<string, string>> = {
  measure: 'measuring',
  inspect: 'looking for level steps',
  listen: 'listening for speech',
  analyse: 'analysing',
  forecast: 'deciding',
  render: 'rendering',
  verify: 'measuring what was written',
  plan: 'finding the fit',
  deliver: 'delivering',
  scenes: 'looking for scenes',
}

/** How far a piece of work is, with the way to stop it; nothing where none goes on. */
export function WorkBar({ work }: { readonly work: WorkMessage | null }) {
  if (work === null || (work.state !== 'running' && work.state !== 'waiting')) return null
  const words = work.state === 'waiting' ? 'waiting its turn' : (WORDS[work.stage] ?? work.stage)
  return (
    <div className="work">
      <progress max={1} value={work.share} aria-label={words} />
      <span className="slate">
        {words} {Math.round(work.share * 100)} %
      </span>
      <button type="button" className="plain" onClick={() => stopWork(work.titleId, work.kind)}>
        Stop
      </button>
    </div>
  )
}

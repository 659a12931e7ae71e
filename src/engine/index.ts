export type { Crew, Progress, Watch } from './crew.ts'
export { type AudioName, type Bench, perform, type ResultOf, type Task } from './work.ts'

import type { SuggestedScene } from '../domain/index.ts'
import { printRange, type Ruler } from './placed.ts'

/** Suggested scenes as a mixer reads them: where, what is heard, the settings to start from, and why. */
export function printScenes(scenes: readonly SuggestedScene[], ruler: Ruler): string {
  if (scenes.length === 0) return '  nothing sounds\n'
  return scenes
    .map((scene) => `  ${printRange(scene, ruler)}  ${scene.name}: ${scene.start}\n      ${scene.reason}\n`)
    .join('')
}

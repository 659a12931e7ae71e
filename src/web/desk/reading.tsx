import { allWords, readingsAt } from './readings.ts'
import type { Scene } from './timeline/scene.ts'

/** The values under the pointer, or under the reading line that the keys move. */
export function Reading({ scene }: { readonly scene: Scene }) {
  const { reading, sampleRateHz, label } = scene
  if (reading === null) return <output className="reading slate">Point at the timeline to read it.</output>
  return (
    <output className="reading">
      <b className="time">{label(Math.round(reading * sampleRateHz))}</b> {allWords(readingsAt(scene, reading))}
    </output>
  )
}

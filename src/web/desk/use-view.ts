import { useState } from 'react'
import type { FrameRange, Passage } from '../../domain/index.ts'
import type { SceneChoice } from './scene-edits.ts'
import { around, type TimeWindow } from './timeline/time-window.ts'

/** What is seen and chosen; nothing of it is a decision. */
export function useView(durationSeconds: number) {
  const [seen, setSeen] = useState<TimeWindow>({ from: 0, to: durationSeconds })
  const [reading, setReading] = useState<number | null>(null)
  const [selection, setSelection] = useState<FrameRange | null>(null)
  const [chosenTrim, setChosenTrim] = useState<number | null>(null)
  const [passage, setPassage] = useState<Passage | null>(null)
  const [waiving, setWaiving] = useState<string | null>(null)
  const [chosenScene, setChosenScene] = useState<SceneChoice | null>(null)
  const choose = (trim: number | null, place: Passage | null, range: FrameRange | null) => {
    setChosenScene(null)
    setChosenTrim(trim)
    setPassage(place)
    setSelection(range)
  }
  return {
    seen,
    setSeen,
    reading,
    setReading,
    selection,
    setSelection,
    chosenTrim,
    passage,
    chosenScene,
    chooseScene: (choice: SceneChoice | null) => {
      choose(null, null, null)
      setChosenScene(choice)
    },
    waiving,
    setWaiving,
    /** Sets a trim; where it came from a passage, that stays chosen behind it. */
    adjustTrim: (index: number) => {
      setSelection(null)
      setChosenTrim(index)
    },
    clear: () => choose(null, null, null),
    select: (range: FrameRange | null) => choose(null, null, range),
    chooseTrim: (index: number | null) => choose(index, null, null),
    goTo: (place: Passage, sampleRateHz: number) => {
      choose(null, place, null)
      setSeen(around(place.startFrame / sampleRateHz, place.endFrame / sampleRateHz, durationSeconds))
    },
  }
}

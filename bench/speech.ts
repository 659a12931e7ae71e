// How well and how fast dialogue is found: the tables of docs/speech-quality.md.

import { segmentAt } from '../src/domain/index.ts'
import { listenToSegment } from '../src/engine/measure/index.ts'
import { loadKernels } from '../test/testkit/kernels.ts'
import { sourceOf } from '../test/testkit/sources.ts'
import { speechWeights } from '../test/testkit/speech-model.ts'
import { pooled, type SpokenFigures, spokenFigures } from '../test/testkit/spoken-figures.ts'
import {
  musicTrack,
  type SpokenSet,
  spokenTrack,
  tracksOf,
  type VoiceKind,
  voiceOver,
} from '../test/testkit/spoken-programmes.ts'
import type { Table } from './table.ts'

const SECONDS = 180
const VOICE_OVER_MUSIC_DB = [20, 10, 5, 0, -5] as const

/** Two thirds of the programmes are acted; the rest is what else the set has. */
function kindOf(set: SpokenSet, index: number): VoiceKind {
  if (index % 3 !== 2) return 'acted'
  return set === 'held-out' && index % 2 === 1 ? 'read' : 'prompts'
}

type Heard = SpokenFigures & { readonly kind: VoiceKind; readonly overMusicDb: number | null }

/** Recall, precision and loudness error on the set that chose the thresholds and on the one that did not. */
export function finding(): Table[] {
  const kernels = loadKernels()
  const weights = speechWeights()
  return (['tuning', 'held-out'] as const).map((set) => {
    const heard: Heard[] = tracksOf(set).flatMap((track, index) => {
      const kind = kindOf(set, index)
      const voice = spokenTrack(set, kind, SECONDS, (set === 'tuning' ? 1 : 1001) + index)
      const music = musicTrack(track, SECONDS)
      const silence = voice.truth100ms.map(() => 0)
      const alone = spokenFigures(kernels, weights, [music.left, music.right], silence)
      return [
        ...VOICE_OVER_MUSIC_DB.map((overMusicDb) => {
          const mix = voiceOver(voice, music, overMusicDb)
          return { ...spokenFigures(kernels, weights, mix, voice.truth100ms), kind, overMusicDb }
        }),
        { ...alone, kind, overMusicDb: null },
      ]
    })
    return tableOf(set, heard)
  })
}

function tableOf(set: SpokenSet, heard: readonly Heard[]): Table {
  const kinds = [...new Set(heard.map(({ kind }) => kind))]
  const rows = [null, ...kinds].flatMap((kind) =>
    VOICE_OVER_MUSIC_DB.map((db) => {
      const chosen = heard.filter((one) => one.overMusicDb === db && (kind === null || one.kind === kind))
      const { recall, precision, largestLoudnessErrorLu } = pooled(chosen)
      const programmes = chosen.length
      return [kind ?? 'all', `${db} dB`, recall, precision, largestLoudnessErrorLu, programmes]
    }),
  )
  const alone = heard.filter(({ overMusicDb }) => overMusicDb === null)
  return {
    title: `Dialogue found, ${set} set`,
    columns: ['voices', 'over music', 'recall', 'precision', 'largest loudness error LU', 'programmes'],
    rows,
    notes: [`music alone: ${(100 * pooled(alone).falseShare).toFixed(2)} % of the time taken for speech`],
  }
}

/** Real time per thread: decoding, resampling and the network, on music with voices. */
export function listening(rounds: number): Table {
  const kernels = loadKernels()
  const weights = speechWeights()
  const voice = spokenTrack('tuning', 'acted', 51.2, 3)
  const mix = voiceOver(voice, musicTrack(tracksOf('tuning')[0] as string, 51.2), 10)
  const source = sourceOf(mix, '2.0', 48000, 'int24')
  const segment = segmentAt(1, source.frameCount, 48000)
  const times = Array.from({ length: rounds + 1 }, () => {
    const start = performance.now()
    listenToSegment(kernels, weights, source, segment)
    return performance.now() - start
  }).slice(1)
  const median = times.toSorted((a, b) => a - b)[rounds >> 1] as number
  return {
    title: 'Listening, one thread',
    columns: ['what', 'x real time'],
    rows: [['two-track, 48 kHz, 24 bit', (segment.frameCount / 48000 / median) * 1000]],
    notes: [`median of ${rounds} after a warm-up`],
  }
}

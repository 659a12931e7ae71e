import { expect, test } from 'vitest'
import type { PartEnergies, TitleHead } from './desk-messages.ts'
import { packTitle, unpackTitle } from './packed-title.ts'

const part = (length: number): PartEnergies => ({
  powers10ms: Float64Array.from({ length: 10 * length }, (_, i) => 1 / (i + 1)),
  foldDown10ms: new Float64Array(0),
  truePeak100ms: Float32Array.from({ length }, (_, i) => i / length),
  foldDownTruePeak100ms: new Float32Array(0),
  channels100ms: Float32Array.from({ length: 2 * length }, (_, i) => i),
  isSpeech100ms: Uint8Array.from({ length }, (_, i) => i % 2),
  isSpoken100ms: Uint8Array.from({ length }, (_, i) => (i % 3 === 0 ? 1 : 0)),
})

test.each(['a', 'ab', 'abc – ü', 'abcd'])(
  'a title called "%s" arrives as it was sent, whatever the length of its head',
  (name) => {
    const head = { version: 1, id: name, name } as TitleHead
    const parts = [part(7), part(0), part(13)]
    const { buffer } = packTitle(head, parts)
    const arrived = unpackTitle(buffer)
    expect(arrived.head).toEqual(head)
    expect(arrived.parts).toEqual(parts)
  },
)

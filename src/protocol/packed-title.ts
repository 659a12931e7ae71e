import type { PartEnergies, TitleHead } from './desk-messages.ts'
import { pack, unpack } from './packed.ts'

/** A title with its energies, as the desk sends it. */
export type PackedTitle = { readonly head: TitleHead; readonly parts: readonly PartEnergies[] }

export function packTitle(head: TitleHead, parts: readonly PartEnergies[]): Uint8Array<ArrayBuffer> {
  return pack({ head, parts } satisfies PackedTitle)
}

export function unpackTitle(packed: ArrayBuffer): PackedTitle {
  return unpack(packed, false) as PackedTitle
}

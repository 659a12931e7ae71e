import type { DeliverableRole, LayoutName } from '../../domain/index.ts'

/** Ends of file names by layout. Common practice. */
const LAYOUT_SUFFIX: Readonly<Record<LayoutName, string>> = {
  mono: '10',
  '2.0': '20',
  '5.0': '50',
  '5.1': '51',
  '7.1': '71',
}

/** A two-track that is not to be taken for plain stereo says so. Common practice. */
const LT_RT_SUFFIX = 'ltrt'

/** A title id from a file name: letters, digits, dot, hyphen and underscore of any script; anything else is a hyphen. */
export function titleIdOf(fileName: string): string {
  const stem = fileName.normalize('NFC').replace(/(.)\.[a-z0-9]{1,5}$/iu, '$1')
  const id = stem.replace(/[^\p{L}\p{M}\p{N}._-]+/gu, '-').replace(/^[-.]+|[-.]+$/g, '')
  return id === '' ? 'title' : id
}

/** Names of the files of a delivery, e.g. `saltmarsh-lane-103_51.wav` and `saltmarsh-lane-103_20.wav`. */
export function fileNames(
  titleId: string,
  files: readonly { readonly role: DeliverableRole; readonly layout: LayoutName }[],
): readonly string[] {
  return files.map(({ role, layout }) => `${titleId}_${role === 'lt-rt' ? LT_RT_SUFFIX : LAYOUT_SUFFIX[layout]}.wav`)
}

import type { Doc, Letters } from './letters.ts'

/** What draws on the open page of a document. */
export type Brush = { readonly doc: Doc; readonly letters: Letters }

/** An element of the document's structure, which reading aids follow. */
export type Tag = { readonly type: string; readonly element: ReturnType<Doc['struct']> }

type TagOptions = {
  /** What a drawing shows, in words. */
  readonly alt?: string
  /** What a head of a table is the head of. */
  readonly scope?: 'Column' | 'Row'
}

/** A new element of the structure below `parent`, or the root of it. */
export function tagUnder(parent: Tag | null, type: string, { doc }: Brush, options: TagOptions = {}): Tag {
  const element = doc.struct(type, options)
  if (parent === null) doc.addStructure(element)
  else parent.element.add(element)
  return { type, element }
}

/** What `work` draws is the content of `tag`, or, where that is null, nothing that is read. */
export function drawAs(tag: Tag | null, { doc }: Brush, work: () => void): void {
  if (tag === null) doc.markContent('Artifact')
  else tag.element.add(doc.markStructureContent(tag.type))
  work()
  doc.endMarkedContent()
}

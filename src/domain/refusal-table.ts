import { Refusal } from './findings.ts'

/** Every reason for which a layer refuses, by stable code; the page of refusals is made from these tables. */
export type RefusalTable = Readonly<
  Record<
    string,
    {
      /** When this refusal is given, in one sentence. */
      readonly sentence: string
      readonly wanted: string
      /** One imperative sentence. */
      readonly remedy: string
    }
  >
>

/** What one refusal knows more exactly than its row. */
type Particulars = {
  readonly wanted?: string | undefined
  readonly remedy?: string | undefined
  readonly cause?: unknown
}

/** Gives the function that builds the refusals of a table: `action` could not be done, `found` stood in its way. */
export function refuserOf<T extends RefusalTable>(table: T) {
  return (code: keyof T & string, action: string, found: string, particulars: Particulars = {}): Refusal => {
    const { wanted, remedy } = table[code] as RefusalTable[string]
    return new Refusal({
      code,
      action,
      found,
      wanted: particulars.wanted ?? wanted,
      remedy: particulars.remedy ?? remedy,
      cause: particulars.cause,
    })
  }
}

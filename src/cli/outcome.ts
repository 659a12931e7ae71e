import { Bug, Cancelled, Refusal } from '../domain/index.ts'

/** Exit codes are part of the contract: delivered and conforming, not conforming, refused, our own fault, stopped. */
export const EXIT = { conforms: 0, finding: 1, refused: 2, bug: 3, stopped: 130 } as const

export type ExitCode = (typeof EXIT)[keyof typeof EXIT]

/** An error as the user reads it: what was found, what is needed, what to do; never a stack trace but for a bug. */
export function explain(error: unknown): { readonly text: string; readonly code: ExitCode; readonly json: object } {
  if (error instanceof Refusal) {
    return { text: printRefusal(error), code: EXIT.refused, json: { version: 1, refusal: refusalJson(error) } }
  }
  if (error instanceof Cancelled) {
    const message = 'Stopped. Nothing half-written was left behind; the source was not touched.'
    return { text: `${message}\n`, code: EXIT.stopped, json: { version: 1, stopped: message } }
  }
  const { message, stack } = error instanceof Error ? error : new Bug(String(error))
  const text =
    `This is a fault of Plimsoll, not of your file: ${message}.\n` +
    `Please report it with the command that you typed and the lines below. Nothing half-written was left behind.\n` +
    `${stack ?? ''}\n`
  return { text, code: EXIT.bug, json: { version: 1, bug: { message, stack } } }
}

/** A refusal as the user reads it. */
export function printRefusal({ message, remedy, code }: Refusal): string {
  return harmless(`${message}.\n${remedy}\n(${code})\n`)
}

/** Text for a terminal: what a name could do to it, such as clearing it or turning the line round, is shown instead. */
export function harmless(text: string): string {
  return text.replace(/[\p{Cc}\u202a-\u202e\u2066-\u2069]/gu, (sign) => (sign === '\n' ? sign : escaped(sign)))
}

function escaped(sign: string): string {
  return `\\u${(sign.codePointAt(0) as number).toString(16).padStart(4, '0')}`
}

export function refusalJson({ code, message, found, wanted, remedy }: Refusal): object {
  return { code, message, found, wanted, remedy }
}

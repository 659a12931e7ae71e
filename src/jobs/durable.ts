import { closeSync, fsyncSync, openSync, writeFileSync } from 'node:fs'

/** Writes a small file and waits until it is on the disk. */
export function writeDurably(path: string, content: string | Uint8Array): void {
  const descriptor = openSync(path, 'w')
  try {
    writeFileSync(descriptor, content)
    fsyncSync(descriptor)
  } finally {
    closeSync(descriptor)
  }
}

/** Waits until the names in a folder are on the disk. */
export function syncFolder(path: string): void {
  const descriptor = openSync(path, 'r')
  try {
    fsyncSync(descriptor)
  } finally {
    closeSync(descriptor)
  }
}

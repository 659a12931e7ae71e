// Files as FFmpeg writes them: what it put in is what has to be found.
import { execFileSync } from 'node:child_process'
import { mkdtempSync, rmSync, truncateSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { readPicture } from './picture.ts'

let folder: string
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'plimsoll-picture-'))
})
afterAll(() => rmSync(folder, { recursive: true }))

const made = (name: string, ...coding: string[]) => {
  const path = join(folder, name)
  const source = ['-f', 'lavfi', '-i', 'testsrc=s=320x180:r=25:d=1', '-f', 'lavfi', '-i', 'sine=d=1']
  execFileSync('ffmpeg', ['-v', 'error', '-y', ...source, ...coding, path])
  return path
}

describe('a file with pictures', () => {
  const both = ['-map', '1:a', '-map', '0:v']
  test.each([
    ['a.mp4', ['-c:v', 'libx264', '-pix_fmt', 'yuv420p', ...both], 'MP4', 'H.264'],
    ['faststart.mp4', ['-c:v', 'libx264', '-movflags', '+faststart', ...both], 'MP4', 'H.264'],
    ['fragments.mp4', ['-c:v', 'libx264', '-movflags', 'frag_keyframe+empty_moov', '-map', '0:v'], 'MP4', 'H.264'],
    ['a.mov', ['-c:v', 'prores_ks', '-c:a', 'pcm_s24le', ...both], 'QuickTime', 'ProRes'],
    ['mpeg4.mp4', ['-c:v', 'mpeg4', ...both], 'MP4', 'MPEG-4 part 2'],
    ['a.webm', ['-c:v', 'libvpx', '-c:a', 'libopus', ...both], 'Matroska or WebM', 'VP8'],
    ['a.mkv', ['-c:v', 'libx264', '-c:a', 'flac', ...both], 'Matroska or WebM', 'H.264'],
    // As into a pipe: nothing in it has a length.
    ['live.mkv', ['-c:v', 'mpeg2video', '-live', '1', '-map', '0:v'], 'Matroska or WebM', 'MPEG-2'],
    ['a.mxf', ['-c:v', 'mpeg2video', '-map', '0:v'], 'MXF', null],
  ] as const)('%s', (name, coding, container, found) => {
    expect(readPicture(made(name, ...coding))).toMatchObject({ container, coding: found })
  })

  test('what it is its bytes say, not its name', () => {
    const path = made('b.mp4', '-c:v', 'libx264', '-f', 'matroska', '-map', '0:v')
    expect(readPicture(path)).toMatchObject({ container: 'Matroska or WebM' })
  })

  test('sound alone is no picture, in the same containers', () => {
    expect(readPicture(made('sound.m4a', '-c:a', 'aac', '-map', '1:a'))).toBeNull()
    expect(readPicture(made('sound.webm', '-c:a', 'libopus', '-map', '1:a'))).toBeNull()
    expect(readPicture(made('sound.wav', '-map', '1:a'))).toBeNull()
  })

  test('a file that ends anywhere, or holds anything, is looked at and let go', () => {
    for (const name of ['a.mp4', 'faststart.mp4', 'a.mkv']) {
      const path = join(folder, name)
      for (const bytes of [2000, 700, 300, 60, 20, 9, 4, 0]) {
        truncateSync(path, bytes)
        const found = readPicture(path)
        if (found !== null) expect([null, 'H.264']).toContain(found.coding)
      }
    }
    const odd = join(folder, 'odd.mp4')
    for (let round = 0; round < 200; round++) {
      // A fixed sequence of bytes behind a true beginning (linear congruential, Numerical Recipes).
      let state = round
      const bytes = Uint8Array.from({ length: 400 }, () => {
        state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
        return state >>> 24
      })
      const beginning =
        round % 2 === 0 ? [0, 0, 0, 16, 0x66, 0x74, 0x79, 0x70] : [0x1a, 0x45, 0xdf, 0xa3, 0x80, 0x18, 0x53, 0x80, 0x67]
      bytes.set(beginning)
      writeFileSync(odd, bytes)
      expect(() => readPicture(odd)).not.toThrow()
    }
  })
})

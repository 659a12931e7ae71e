import { assert, bytesPerFrame, type LayoutName, type PcmFormat } from '../domain/index.ts'
import { type OpenAudio, openPcm, type PcmLocation } from './pcm.ts'

/** Where a programme lies that came in several files: one after the other, alike in all but length. */
export type ReelLocation = {
  readonly reels: readonly PcmLocation[]
  readonly format: PcmFormat
  readonly layout: LayoutName
  readonly frameCount: number
}

/** Opens a programme for reading at any frame, whether it lies in one file or in reels. */
export function openAudio(location: PcmLocation | ReelLocation): OpenAudio {
  return 'reels' in location ? openReels(location) : openPcm(location)
}

function openReels({ reels, format, layout, frameCount }: ReelLocation): OpenAudio {
  const open = reels.map(openPcm)
  const frameBytes = bytesPerFrame(format)
  return {
    format,
    layout,
    frameCount,
    readInto(bytes, frameIndex, count) {
      assert(frameIndex >= 0 && frameIndex + count <= frameCount, 'the frames lie inside the reels')
      let reelStart = 0
      for (const reel of open) {
        const first = Math.max(frameIndex, reelStart)
        const end = Math.min(frameIndex + count, reelStart + reel.frameCount)
        if (first < end) {
          const at = (first - frameIndex) * frameBytes
          reel.readInto(bytes.subarray(at, at + (end - first) * frameBytes), first - reelStart, end - first)
        }
        reelStart += reel.frameCount
      }
    },
    close() {
      for (const reel of open) reel.close()
    },
  }
}

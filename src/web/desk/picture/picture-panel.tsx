import { useEffect, useRef, useState } from 'react'
import type { PictureMessage, TitleHead } from '../../../protocol/index.ts'
import { pictureAddress } from '../calls.ts'
import type { useTitle } from '../use-title.ts'
import type { Heard } from './heard-clock.ts'
import { useFollowing } from './use-following.ts'
import type { PictureDock, PicturePlace } from './use-picture-place.ts'

const DOCKS: readonly (readonly [PictureDock, string])[] = [
  ['column', 'Column'],
  ['over', 'Timeline'],
  ['folded', 'Folded'],
]

/** The picture of a title in time with what is heard; nothing where it has none. */
export function PicturePanel({
  head,
  title,
  heard,
  place,
}: {
  readonly head: TitleHead
  readonly title: Pick<ReturnType<typeof useTitle>, 'titleId' | 'placed'>
  readonly heard: () => Heard
  readonly place: PicturePlace
}) {
  const { pictures } = head
  const [tried, setTried] = useState(0)
  const [isSoundOnly, setSoundOnly] = useState(false)
  const shown = pictures[tried]
  const [first] = pictures
  if (first === undefined) return null
  return (
    <section className={`film ${place.dock}`} aria-label="Picture">
      <div className="film-head">
        <h2>Picture</h2>
        <span className="slate name" title={(shown ?? first).name}>
          {(shown ?? first).name}
        </span>
        <fieldset className="choice">
          <legend className="unseen">Where the picture is</legend>
          {DOCKS.map(([dock, words]) => (
            <button key={dock} type="button" aria-pressed={dock === place.dock} onClick={() => place.put(dock)}>
              {words}
            </button>
          ))}
        </fieldset>
      </div>
      {place.dock !== 'folded' && shown !== undefined && (
        <Screen
          key={shown.name}
          address={pictureAddress(title.titleId, shown.name)}
          name={shown.name}
          wanted={() => {
            const { frame, speed } = heard()
            return { seconds: (frame - title.placed.pictureFrame) / head.ground.sampleRateHz, speed }
          }}
          onNotShown={(isSound) => {
            setSoundOnly(isSound)
            setTried(tried + 1)
          }}
        />
      )}
      {place.dock !== 'folded' && shown === undefined && <NotShown picture={first} isSoundOnly={isSoundOnly} />}
    </section>
  )
}

/** What cannot be shown, what could be, and how to get there. */
function NotShown({ picture, isSoundOnly }: { readonly picture: PictureMessage; readonly isSoundOnly: boolean }) {
  const { name, container, coding } = picture
  const stem = name.replace(/[.][^.]*$/, '')
  // Of two files that are called alike the one that can be shown is shown.
  const copy = `${stem}.${/[.]mp4$/i.test(name) ? 'm4v' : 'mp4'}`
  const found = isSoundOnly ? 'no pictures that it can show' : (coding ?? 'pictures of an untold coding')
  return (
    <div className="refusal" role="alert">
      <p>
        This browser cannot show {name}: it holds {found} in {container}. It needs H.264, VP8, VP9 or AV1 in MP4 or
        WebM. Make a copy for viewing beside it, then open the title again:
      </p>
      <code>
        ffmpeg -i "{name}" -an -c:v libx264 -pix_fmt yuv420p -g 12 -vf scale=-2:540 "{copy}"
      </code>
    </div>
  )
}

function Screen({
  address,
  name,
  wanted,
  onNotShown,
}: {
  readonly address: string
  readonly name: string
  readonly wanted: Parameters<typeof useFollowing>[1]
  readonly onNotShown: (isSoundOnly: boolean) => void
}) {
  const video = useRef<HTMLVideoElement>(null)
  useFollowing(video, wanted)
  useEffect(() => {
    const element = video.current!
    // What was being fetched is let go of.
    return () => {
      element.removeAttribute('src')
      element.load()
    }
  }, [])
  return (
    <div className="screen">
      <video
        ref={video}
        src={address}
        muted
        playsInline
        preload="auto"
        disableRemotePlayback
        aria-label={`Picture of ${name}`}
        onError={() => video.current?.hasAttribute('src') && onNotShown(false)}
        onLoadedMetadata={() => video.current!.videoWidth === 0 && onNotShown(true)}
      />
    </div>
  )
}

import { describe, expect, test } from 'vitest'
import { follow } from './follow.ts'
import { HeardClock } from './heard-clock.ts'

describe('what is heard', () => {
  const RATE = 48000

  test('is what was made as long ago as the way to the loudspeakers takes, at the speed it was made at', () => {
    const clock = new HeardClock(RATE)
    expect(clock.at(1)).toBeNull()
    clock.told({ frame: 0, atSeconds: 10, speed: 0 })
    clock.told({ frame: 128, atSeconds: 10.5, speed: 1 })
    expect(clock.at(9)).toEqual({ frame: 0, speed: 0 })
    expect(clock.at(10.4)).toEqual({ frame: 0, speed: 0 })
    expect(clock.at(11)!.frame).toBeCloseTo(128 + RATE / 2, 6)
    // Gone back while what came before is still on its way.
    clock.told({ frame: 0, atSeconds: 12, speed: -2 })
    expect(clock.at(11.99)!.frame).toBeCloseTo(128 + 1.49 * RATE, 6)
    expect(clock.at(12.5)).toEqual({ frame: -RATE, speed: -2 })
  })
})

describe('a picture', () => {
  const shown = (seconds: number, isSeeking = false) => ({ seconds, isSeeking })
  const SEEK = 0.05

  test('that stands goes to the instant, and waits until it is there', () => {
    expect(follow({ seconds: 20, speed: 0 }, shown(3), SEEK)).toEqual({ seekTo: 20.0005, rate: 0 })
    expect(follow({ seconds: 20, speed: 0 }, shown(3, true), SEEK)).toEqual({ seekTo: null, rate: 0 })
    expect(follow({ seconds: 20, speed: 0 }, shown(20.0005), SEEK)).toEqual({ seekTo: null, rate: 0 })
  })

  test('goes back by stills, as no browser plays backwards', () => {
    expect(follow({ seconds: 20, speed: -1 }, shown(20.04), SEEK)).toEqual({ seekTo: 20.0005, rate: 0 })
  })

  test('that is far off goes to where the sound will be when it gets there', () => {
    expect(follow({ seconds: 20, speed: 2 }, shown(0), SEEK)).toEqual({ seekTo: 20.1005, rate: 2 })
  })

  test.each([1, 2, 4])(
    'at %d times the speed comes to its sound from a tenth of a second off, and stays there',
    (speed) => {
      for (const off of [-0.1, 0.1]) {
        let [sound, picture] = [10, 10 + off]
        for (let frame = 0; frame < 60; frame++) {
          const { seekTo, rate } = follow({ seconds: sound, speed }, shown(picture), SEEK)
          expect(seekTo).toBeNull()
          picture += rate / 60
          sound += speed / 60
        }
        expect(Math.abs(picture - sound)).toBeLessThan(0.006)
      }
    },
  )
})

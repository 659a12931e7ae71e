/** A line of speech: who says it, how the synthesiser was asked, what is said. Texts and names are invented. */
export type Line = {
  readonly voice: string
  readonly pitch: number
  readonly wordsPerMinute: number
  readonly text: string
}

const nell = { voice: 'en-gb-x-rp+f2', pitch: 48, wordsPerMinute: 158 }
const tobias = { voice: 'en-gb-scotland+m3', pitch: 34, wordsPerMinute: 146 }
const commentator = { voice: 'en-gb+m1', pitch: 52, wordsPerMinute: 186 }
const announcer = { voice: 'en-gb-x-rp+f4', pitch: 50, wordsPerMinute: 160 }

/** The file of each line is `demo/voices/<name>.flac`, made by `node scripts/render-voices.mjs`. */
export const LINES = {
  'lane-1': { ...nell, text: 'You left the gate open again. The tide was over the lane by six.' },
  'lane-2': { ...tobias, text: 'I heard it. I was up at the light till past midnight.' },
  'lane-3': { ...nell, text: 'Come in, then. You are wet to the bone.' },
  'lane-4': { ...tobias, text: 'There was no lamp on the point last night. Not one.' },
  'lane-5': { voice: 'en-gb-x-rp+f2', pitch: 40, wordsPerMinute: 132, text: 'Keep your voice down. She is asleep.' },
  'lane-6': { ...tobias, pitch: 60, wordsPerMinute: 178, text: 'The boat! She has broken loose!' },
  'lane-7': { ...nell, pitch: 66, wordsPerMinute: 176, text: 'Leave it! Tobias, leave it!' },
  'lane-8': { ...nell, wordsPerMinute: 128, text: 'By morning the marsh had taken the lane, and given back the key.' },
  'harbour-1': { ...announcer, text: 'Ladies and gentlemen, welcome to Harbour Day.' },
  'harbour-2': { ...commentator, text: 'A fresh breeze from the west, and eleven boats on the line.' },
  'harbour-3': { ...commentator, wordsPerMinute: 205, pitch: 64, text: 'And there goes the gun! They are away!' },
  'harbour-4': {
    ...commentator,
    text: 'Marigold takes the inside, Grey Heron on her quarter, and the Old Lantern is boxed in.',
  },
  'harbour-5': {
    ...commentator,
    wordsPerMinute: 200,
    pitch: 60,
    text: 'Look at that! Round the buoy with nothing to spare.',
  },
  'harbour-6': { ...commentator, wordsPerMinute: 210, pitch: 68, text: 'It is Marigold! Marigold, by half a length!' },
} as const satisfies Record<string, Line>

export type LineName = keyof typeof LINES

import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'

import { saltmarshReport } from '../../test/testkit/delivery.ts'
import { clockFromLabel, type DeliveryReport } from '../domain/index.ts'
import { timeTicks } from './axes.ts'
import {
  loudnessPicture,
  placesOfPassages,
  REPORT_FONT_FILES,
  renderReportHtml,
  reportPicture,
  upmixPicture,
} from './index.ts'
import { PALETTE } from './palette.ts'

const fonts = REPORT_FONT_FILES.map(({ weight, file }) => {
  const path = new URL(`../../node_modules/@fontsource/ibm-plex-sans/files/${file}`, import.meta.url)
  return { weight, woff2Base64: readFileSync(path, 'base64') }
})
const assets = { fonts, readingScript: "const script = '</script><b>'" }
const good = saltmarshReport()
const loud = saltmarshReport({ specId: 'ebu-r128-s1', truePeakDbtp: -0.4, loudnessLkfs: -22.9, withRide: false })

/** Names of the open elements where the text first breaks the nesting rules of XML, or null where it never does. */
function brokenNesting(text: string): string | null {
  const withoutRaw = text.replace(/<(script|style)\b[^>]*>[\s\S]*?<\/\1>/g, '').replace('<!DOCTYPE html>', '')
  if (/&(?!(?:amp|lt|gt|quot|#39);)/.test(withoutRaw)) return 'a bare ampersand'
  const open: string[] = []
  for (const [tag, closing, name, attributes, empty] of withoutRaw.matchAll(
    /<(\/?)([a-z][a-z0-9]*)((?:\s+[a-zA-Z:-]+="[^"<]*")*)\s*(\/?)>|<[\s\S]/g,
  )) {
    if (name === undefined || attributes === undefined) return `${open.join(' ')} ${tag}`
    if (closing) {
      if (open.pop() !== name) return `${open.join(' ')} ${tag}`
    } else if (!empty) open.push(name)
  }
  return open.length === 0 ? null : open.join(' ')
}

describe.each([
  ['a conforming delivery', good],
  ['a delivery that fails', loud],
])('the page of %s', (_, report) => {
  const page = renderReportHtml(report, assets)

  test('is well-formed, and so is its picture', () => {
    expect(brokenNesting(page)).toBeNull()
    expect(brokenNesting(reportPicture(report))).toBeNull()
  })

  test('needs nothing from outside', () => {
    const addresses = page.replaceAll(/http:\/\/www\.w3\.org\/2000\/svg/g, '')
    const outside = /https?:|\ssrc=|@import|<link(?! rel="icon" href="data:)|<img|srcset|url\((?!data:|#)/i
    expect(outside.exec(addresses)?.[0]).toBeUndefined()
    expect(page.includes(`content="default-src 'none'`)).toBe(true)
  })

  test('is the same every time', () => {
    expect(renderReportHtml(report, assets) === page).toBe(true)
  })

  test('says what it is to somebody who cannot see it (WCAG 2.2: 1.1.1, 1.3.1, 2.4.2, 3.1.1)', () => {
    expect(/<html lang="en-GB">/.test(page)).toBe(true)
    expect(/<title>Saltmarsh Lane, episode 3: delivery report/.test(page)).toBe(true)
    for (const [drawing] of page.matchAll(/<svg[^>]*>/g)) {
      expect(drawing).toMatch(/aria-hidden="true"|role="img" aria-label="[^"]{40,}"/)
    }
    for (const [head] of page.matchAll(/<th\b[^>]*>/g)) expect(head).toMatch(/scope="(?:col|row)"/)
    expect(page.includes('The same in figures')).toBe(true)
  })

  test('carries the verdict, every checksum, every caution and every finding', () => {
    expect(page.includes(report.verdict)).toBe(true)
    const hashes = [report.source.sha256, report.tool.kernelsSha256, ...report.deliverables.map((file) => file.sha256)]
    const texts = [...hashes, ...report.findings.map(({ message }) => message)]
    expect(texts.filter((text) => !page.includes(text))).toEqual([])
    for (const caution of report.cautions) expect(page.includes(caution.replaceAll("'", '&#39;'))).toBe(true)
  })
})

test('what the user wrote is never markup', () => {
  const titleName = '<script>alert("x")</script> & \u0007"quoted" \'single\''
  const page = renderReportHtml(saltmarshReport({ titleName }), assets)
  expect(page.includes('<script>alert')).toBe(false)
  expect(
    page.includes('&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt; &amp; &quot;quoted&quot; &#39;single&#39;'),
  ).toBe(true)
  expect(brokenNesting(page)).toBeNull()
})

test('a master for which nothing was rendered still gets its page', () => {
  const report = { ...good, conforms: false, deliverables: [], margins: [], foldDownLock: null }
  const page = renderReportHtml(report, assets)
  expect(brokenNesting(page)).toBeNull()
  expect(page.includes('Nothing was rendered')).toBe(true)
  expect(page.includes('Loudness over time of the source against ATSC A/85 long-form.')).toBe(true)
})

test('what was waived stands in the report with its reason, also where the title meets the line', () => {
  const waivers = [{ line: 'maxTruePeakDbtp', reason: 'agreed <by> letter' }]
  const page = renderReportHtml({ ...good, spec: { ...good.spec, waivers } }, assets)
  expect(page.includes('<li>Waived: True peak. Reason: agreed &lt;by&gt; letter</li>')).toBe(true)
  expect(page.includes('<th scope="row"></th>')).toBe(false)
  expect(renderReportHtml(good, assets).includes('Waived')).toBe(false)
})

test.each([
  ['0.3 s long', saltmarshReport({ durationSeconds: 0.3, specId: 'ebu-r128-s1' })],
  ['without a sound', silent()],
])('no figure that is no number reaches the page of a title %s', (_, report) => {
  const page = renderReportHtml(report, { fonts: [], readingScript: '' })
  expect(/NaN|Infinity|undefined|\[object/.exec(page)?.[0]).toBeUndefined()
  expect(page.includes('not measured')).toBe(true)
})

/** A delivery of digital silence: every figure is null and the curves are empty. */
function silent(): DeliveryReport {
  const [mix] = good.deliverables
  const nothing = new Array<number | null>(good.history.delivered.shortTermLkfs.high.length).fill(null)
  const curve = { low: nothing, high: nothing }
  const history = { ...good.history.delivered, shortTermLkfs: curve, momentaryLkfs: curve }
  const measurements = {
    ...mix!.measurements,
    programmeLoudnessLkfs: null,
    loudnessRangeLu: null,
    maxMomentaryLkfs: null,
    maxShortTermLkfs: null,
    maxTruePeakDbtp: null,
    samplePeakDbfs: null,
  }
  return {
    ...good,
    history: { source: history, delivered: history, lanes: null },
    deliverables: [{ ...mix!, measurements }],
    margins: good.margins.map((margin) => ({ ...margin, measured: null, margin: null })),
  }
}

test('a place that is pointed at without a missed limit is named and not called too loud', () => {
  const [first, ...others] = good.findings
  const at = { startSeconds: 60, endSeconds: 70, timecode: null }
  const page = renderReportHtml({ ...good, findings: [{ ...first!, id: 'gate-leap', at }, ...others] }, assets)
  expect(page.includes('>1 gate leap</text>')).toBe(true)
  expect(/too loud by|<path class="outside/.test(page.split('<figcaption')[0] ?? '')).toBe(false)
})

test('a script cannot close its element early', () => {
  expect(renderReportHtml(good, assets).match(/<\/script>/g)).toHaveLength(2)
})

test('the page works without the reading aid', () => {
  const page = renderReportHtml(good, { ...assets, readingScript: null })
  expect(page.includes('<script')).toBe(false)
  expect(brokenNesting(page)).toBeNull()
})

test('outside is said in words, by hatching and by number', () => {
  const page = renderReportHtml(loud, assets)
  expect(/<text class="label out"[^>]*>\d+ (?:too loud|peak over) by \d+\.\d (?:LU|dB)/.test(page)).toBe(true)
  expect(/<path class="outside above" d="M/.test(page)).toBe(true)
  expect(page.includes('Does not conform')).toBe(true)
  const calm = renderReportHtml(good, assets)
  expect(/<path class="outside"/.test(calm)).toBe(false)
  expect(calm.includes('outside</span>')).toBe(false)
})

test('a line that could not be measured is said to be so', () => {
  const [mix, ...rest] = good.deliverables
  const measurements = { ...mix!.measurements, loudnessRangeLu: null }
  const page = renderReportHtml({ ...good, deliverables: [{ ...mix!, measurements }, ...rest] }, assets)
  expect(page.includes('not measured')).toBe(true)
})

/** Contrast of two colours by WCAG 2.2, relative luminance and success criterion 1.4.3. */
function contrast(one: string, other: string): number {
  const luminance = (colour: string) => {
    const [r, g, b] = [1, 3, 5].map((at) => {
      const share = Number.parseInt(colour.slice(at, at + 2), 16) / 255
      return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4
    }) as [number, number, number]
    return 0.2126 * r + 0.7152 * g + 0.0722 * b
  }
  const [dark, light] = [luminance(one), luminance(other)].sort((a, b) => a - b) as [number, number]
  return (light + 0.05) / (dark + 0.05)
}

describe.each(['light', 'dark'] as const)('the %s palette', (scheme) => {
  const colours = PALETTE[scheme]
  test.each(['ink', 'slate', 'rust', 'kelp', 'tide'] as const)('%s is legible as text (4.5 : 1)', (name) => {
    expect(contrast(colours[name], colours.paper)).toBeGreaterThanOrEqual(4.5)
  })
  test('brass is seen as a mark (3 : 1)', () => {
    expect(contrast(colours.brass, colours.paper)).toBeGreaterThanOrEqual(3)
    expect(contrast(colours.brass, colours.chart)).toBeGreaterThanOrEqual(2.9)
  })
})

describe('the ruler', () => {
  test('stands on round times of day', () => {
    expect(timeTicks(95, 36000 - 10).map(({ seconds, label }) => [seconds, label])).toEqual([
      [10, '10:00:00'],
      [25, '10:00:15'],
      [40, '10:00:30'],
      [55, '10:00:45'],
      [70, '10:01:00'],
      [85, '10:01:15'],
    ])
  })

  test.each([0.8, 7, 29.5, 600, 2892, 7200, 90000])('of %s s has two to ten marks', (durationSeconds) => {
    const { length } = timeTicks(durationSeconds, 0)
    expect(length).toBeGreaterThanOrEqual(2)
    expect(length).toBeLessThanOrEqual(10)
  })
})

describe('the picture of a measured file', () => {
  const passage = {
    startFrame: 48000 * 600,
    endFrame: 48000 * 660,
    rank: 1,
    kind: 'too-soft',
    line: 'maxShortTermLkfs',
    peakFrame: 48000 * 630,
    measured: -34,
    allowed: -31,
    unit: 'LKFS',
    excess: 3,
    source: { document: 'common practice', edition: '', clause: '', basis: 'common practice' },
    carriedBy: [{ role: 'C', share: 1 }],
    dialogueShare: 1,
    suggestedTrimDb: 3,
    effect: null,
    marginalLuPerDb: null,
    message: '',
  } as const
  const picture = {
    subject: 'file',
    spec: null,
    durationSeconds: good.source.measurements.durationSeconds,
    startOfDaySeconds: null,
    drawn: good.history.delivered,
    beside: null,
    figures: good.source.measurements,
    places: placesOfPassages([passage], 48000),
    lanes: good.history.lanes,
  }
  const svg = loudnessPicture(picture, 'saltmarsh-103-master.wav')

  test('is well-formed and stands for itself', () => {
    expect(brokenNesting(svg)).toBeNull()
    expect(svg.startsWith('<svg xmlns="http://www.w3.org/2000/svg"')).toBe(true)
  })

  test('names every channel, the dialogue lane and the passage, which is hatched from below', () => {
    for (const lane of ['dialogue', 'L', 'R', 'C', 'LFE', 'Ls', 'Rs'])
      expect(svg.includes(`>${lane}</text>`)).toBe(true)
    expect(svg.includes('>1 too soft by 3.0 LU</text>')).toBe(true)
    expect(svg.includes('class="outside below"')).toBe(true)
  })

  test('shows no target and no limit where no spec was named', () => {
    expect(/class="(?:target|limit|band)"/.test(svg)).toBe(false)
  })
})

describe('the picture of an upmix', () => {
  // An hour of drop-frame timecode at 29.97 has 107892 pictures (SMPTE ST 12-1): this begins a second before 01:00:00;00.
  // Half the power is 3.01 dB less: C carries half, L and R a quarter each where they sound, and Ls nothing but one column.
  const level = (...dB: readonly (number | null)[]) => dB
  const clock = clockFromLabel({ rate: '29.97', dropFrame: true }, 107892 - 30, 48000)
  const svg = upmixPicture(
    {
      durationSeconds: 4,
      sampleRateHz: 48000,
      clock,
      lanes: {
        columnSeconds: 1,
        dialogue: null,
        channels: [
          { role: 'L', levelLkfs: level(-23.0103, -23.0103, null, null) },
          { role: 'R', levelLkfs: level(-23.0103, -23.0103, null, null) },
          { role: 'C', levelLkfs: level(-20, -20, null, null) },
          { role: 'LFE', levelLkfs: level(null, null, null, null) },
          { role: 'Ls', levelLkfs: level(null, null, null, -20) },
          { role: 'Rs', levelLkfs: level(null, null, null, null) },
        ],
      },
      scenes: [{ name: 'harbour', startSeconds: 0, endSeconds: 2 }],
    },
    'saltmarsh-103_51.wav',
  )
  const plot = { top: 46, bottom: 286 }

  test('divides the energy by power: two pairs 3.01 dB apart are halves', () => {
    expect(svg).toContain('Over the whole programme: centre 40 %, fronts 40 %, surrounds 20 %.')
    const middle = (plot.top + plot.bottom) / 2
    const edges = /class="centre" d="M[\d.]+ ([\d.]+)L[\d.]+ ([\d.]+)/.exec(svg)?.slice(1).map(Number) as number[]
    expect(edges).toHaveLength(2)
    for (const y of edges) expect(y).toBeCloseTo(middle, 1)
  })

  test('stands for itself, marks the scene, and leaves the LFE out where nothing was sent to it', () => {
    expect(brokenNesting(svg)).toBeNull()
    expect(svg).toContain('>harbour</text>')
    expect(svg).not.toContain('>LFE</text>')
  })

  // SMPTE ST 12-1: the first two labels of the minute are dropped at 29.97, but not in a full tenth minute (01:00:00).
  test('has ticks under labels that exist', () => {
    expect(svg).toContain('>01:00:00;00</text>')
    const later = upmixPicture(
      {
        durationSeconds: 4,
        sampleRateHz: 48000,
        clock: clockFromLabel(clock.format, clock.startPicture + 1798, 48000),
        lanes: { columnSeconds: 1, dialogue: null, channels: [] },
        scenes: [],
      },
      'a reel',
    )
    expect(later).toContain('>01:01:00;02</text>')
    expect(later).not.toContain('>01:01:00;00</text>')
  })
})

test('dialogue stands before what was altered, with its quietest lines, and is left out where nobody listened', () => {
  const line = { startFrame: 48000 * 70, endFrame: 48000 * 73, loudnessLkfs: -31.4, overBackgroundLu: 2.2 }
  const spoken = {
    dialogueLoudnessLkfs: -24.3,
    dialogueShare: 0.42,
    dialogue: { programmeMinusDialogueLu: 0.3, dialogueOverBackgroundLu: 9.1, quietestLines: [line] },
  }
  const report: DeliveryReport = {
    ...good,
    source: { ...good.source, startOfDaySeconds: null, measurements: { ...good.source.measurements, ...spoken } },
    deliverables: good.deliverables.map((file) => ({ ...file, measurements: { ...file.measurements, ...spoken } })),
  }
  const page = renderReportHtml(report, assets)
  expect(brokenNesting(page)).toBeNull()
  const section = /<section><h2>Dialogue<[\s\S]*?<\/section>/.exec(page)?.[0] ?? ''
  for (const figure of ['42', '\u221224.3', '9.1', '1:10.0', '1:13.0', '\u221231.4', '2.2']) {
    expect(section).toContain(figure)
  }
  expect(page.indexOf('<h2>Dialogue')).toBeLessThan(page.indexOf('<h2>What was altered'))
  expect(renderReportHtml(good, assets)).not.toContain('<h2>Dialogue')
})

describe('what was altered', () => {
  const page = () =>
    renderReportHtml(saltmarshReport({ ceilingEvents: [{ startSeconds: 10, endSeconds: 10.02, deepestDb: 0.4 }] }), {
      fonts: [],
      readingScript: null,
    }).replaceAll(/<[^>]*>/g, '')

  test('is told dialogue first, then where ears do not forgive moves', () => {
    const text = page()
    const order = [
      'Dialogue9.4 LU over its background',
      'Turned down by others',
      'Heard moves',
      'Static gain',
      'Ride',
      'Certificate',
      'Forced at',
      'Ceiling',
      'Energy by octave',
    ]
    const places = order.map((words) => text.indexOf(words, text.indexOf('What was altered')))
    expect(places.every((place) => place > 0)).toBe(true)
    expect(places).toEqual(places.toSorted((a, b) => a - b))
    expect(text).toContain(
      '1 of 214 lines of dialogue moved inside by more than 0.5 dB, 0.7 dB at most; 0 of 9 hits announced',
    )
    expect(text).toContain('dialogue gave 12.3 dB s to the ride and 0.4 dB s to the ceiling')
  })

  test('of a delivery with static gain alone draws nothing', () => {
    const html = renderReportHtml(saltmarshReport({ withRide: false }), { fonts: [], readingScript: null })
    expect(html).not.toContain('What was altered over time')
    expect(html).not.toContain('Energy by octave')
  })
})

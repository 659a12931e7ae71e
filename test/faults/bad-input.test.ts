// Damaged, foreign and forbidden inputs and outputs through the built command: what it says, and what it leaves alone.
import {
  chmodSync,
  copyFileSync,
  cpSync,
  linkSync,
  mkdirSync,
  readFileSync,
  renameSync,
  rmdirSync,
  rmSync,
  symlinkSync,
  truncateSync,
  writeFileSync,
} from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { measureDocument, refusalDocument } from '../../src/protocol/index.ts'
import {
  fileFolder,
  filesBelow,
  ownFolder,
  PREPARATION_MS,
  plimsoll,
  plimsollMust,
  type Run,
  snapshot,
  startPlimsoll,
} from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, sha256, wavShape } from '../testkit/outside.ts'
import { chunk, type FormatFields, formatBody, riff } from '../testkit/wav.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SPEC = ['--spec', 'atsc-a85-short']
const SECOND = 48000

/** Two tracks that differ, as words between -1 and 1. */
function soundOf(frames: number, channels: number): Float64Array {
  return Float64Array.from(
    { length: frames * channels },
    (_, i) => 0.2 * Math.sin(i / 7 + (i % channels)) * Math.sin(i / 9000),
  )
}

function words24(samples: Float64Array): Buffer {
  const bytes = Buffer.alloc(samples.length * 3)
  for (const [index, sample] of samples.entries()) bytes.writeIntLE(Math.round(sample * 8388607), index * 3, 3)
  return bytes
}

function wav(fields: FormatFields, body: Buffer, lies: { data?: number } = {}): Buffer {
  return riff([
    chunk('fmt ', formatBody(fields)),
    chunk('data', body, lies.data === undefined ? {} : { size: lies.data }),
  ])
}

const STEREO: FormatFields = { channelCount: 2, bits: 24 }
const FLOAT: FormatFields = { channelCount: 2, bits: 32, tag: 3 }

function floats(...strange: readonly number[]): Buffer {
  const samples = Float32Array.from(soundOf(3 * SECOND, 2))
  samples.set(strange, SECOND)
  return Buffer.from(samples.buffer)
}

const good = words24(soundOf(3 * SECOND, 2))
const whole = wav(STEREO, good)

/** Name, bytes, exit code and codes of `measure`, and of everything that makes something. */
const BAD: readonly [name: string, bytes: Buffer, measure: [number, string], make: [number, string]][] = [
  ['empty', Buffer.alloc(0), [2, 'MEDIA_EMPTY'], [2, 'MEDIA_EMPTY']],
  ['truncated-header', whole.subarray(0, 30), [2, 'MEDIA_HEADER_TRUNCATED'], [2, 'MEDIA_HEADER_TRUNCATED']],
  ['truncated-data', whole.subarray(0, 400_001), [1, 'truncated-data'], [2, 'JOBS_SOURCE_DAMAGED']],
  ['lying-size', wav(STEREO, good, { data: 2 * good.length }), [1, 'truncated-data'], [2, 'JOBS_SOURCE_DAMAGED']],
  [
    'no-channels',
    wav({ ...STEREO, channelCount: 0, blockAlign: 6 }, good),
    [2, 'MEDIA_NO_CHANNELS'],
    [2, 'MEDIA_NO_CHANNELS'],
  ],
  ['seven-channels', wav({ channelCount: 7, bits: 24 }, good), [2, 'MEDIA_CHANNEL_COUNT'], [2, 'MEDIA_CHANNEL_COUNT']],
  ['nan', wav(FLOAT, floats(Number.NaN)), [1, 'non-finite-samples'], [2, 'JOBS_SOURCE_NOT_FINITE']],
  [
    'infinite',
    wav(FLOAT, floats(Number.POSITIVE_INFINITY, -1)),
    [1, 'non-finite-samples'],
    [2, 'JOBS_SOURCE_NOT_FINITE'],
  ],
  ['text', Buffer.from('Harbour Day, shot list\n'), [2, 'MEDIA_UNKNOWN_CONTAINER'], [2, 'MEDIA_UNKNOWN_CONTAINER']],
  ['odd-rate', wav({ ...STEREO, sampleRateHz: 22050 }, good), [2, 'MEDIA_SAMPLE_RATE'], [2, 'MEDIA_SAMPLE_RATE']],
  ['no-audio', wav(STEREO, Buffer.alloc(0)), [2, 'MEDIA_NO_AUDIO'], [2, 'MEDIA_NO_AUDIO']],
  ['silence', wav(STEREO, Buffer.alloc(good.length)), [1, 'not-measurable'], [1, 'nothing-to-fit']],
  ['too-short', wav(STEREO, good.subarray(0, 0.3 * SECOND * 6)), [1, 'not-measurable'], [1, 'nothing-to-fit']],
]

/** What a run must never show: a stack, a module, a raw system message. */
const INSIDES = /\n\s+at \S|node:|file:\/\/\/|\bE(?:NOENT|ACCES|ISDIR|NOSPC|IO|EXIST|PERM)\b(?!\))|undefined|NaN(?! or)/

type Expected = readonly [code: number, id: string]

/** A refusal or finding that helps: right exit code, its own code in the JSON, and for people what, need and remedy. */
function expectAnswer(run: Run, [code, id]: Expected): void {
  expect(`${run.code} ${run.stderr}`).toMatch(new RegExp(`^${code} `))
  const document = run.json()
  if (code === 2) {
    expect(refusalDocument.parse(document)).toEqual(document)
    expect(document.refusal.code).toBe(id)
    // A list of problems has what is needed below it.
    expect(run.stderr).toMatch(/Cannot .+: found .+(?:, need |\nNeeded: ).+/s)
    expect(run.stderr).toContain(document.refusal.remedy)
    expect(run.stderr).toContain(id)
  } else {
    const findings = document.findings ?? document.files[0].findings
    expect(findings.map((finding: { id: string }) => finding.id)).toContain(id)
    expect(document.conforms ?? document.files[0].conforms).toBe(false)
  }
  expect(run.stderr).not.toMatch(INSIDES)
}

/** Runs with a temporary folder of its own and checks that nothing is left in it, and that the inputs are untouched. */
async function runAgainst(
  place: string,
  args: readonly string[],
  start: { uid?: number | undefined } = {},
): Promise<Run> {
  const temporary = ownFolder()
  chmodSync(temporary, 0o777)
  const before = snapshot(place)
  const run = await plimsoll([...args, '--json'], { env: { TMPDIR: temporary }, ...start })
  expect(snapshot(place)).toEqual(before)
  expect(filesBelow(temporary)).toEqual([])
  return run
}

beforeAll(() => {
  for (const [name, bytes] of BAD) {
    mkdirSync(at(name))
    writeFileSync(at(`${name}/in.wav`), bytes)
  }
})

describe('measure', () => {
  test.each(BAD)('%s', async (name, _, expected) => {
    const run = await runAgainst(at(name), ['measure', at(`${name}/in.wav`)])
    expectAnswer(run, expected)
    if (expected[0] !== 1) return
    const document = run.json()
    expect(measureDocument.parse(document)).toEqual(document)
    // What cannot be measured is null, never a number that could be taken for a figure.
    if (expected[1] === 'not-measurable') expect(document.files[0].programmeLoudnessLkfs).toBeNull()
  })
})

describe.each([
  ['deliver', (place: string) => ['deliver', join(place, 'in.wav'), ...SPEC, '--out', join(place, 'deep/er/out')]],
  ['fit', (place: string) => ['fit', join(place, 'in.wav'), join(place, 'out.wav'), ...SPEC]],
])('%s', (command, words) => {
  test.each(BAD)('%s', async (name, _, __, expected) => {
    const isJudged = expected[0] === 1
    const place = at(name)
    // A programme that was read and judged leaves the page that tells why; a refusal leaves nothing at all.
    const run =
      isJudged && command === 'deliver'
        ? await plimsoll([...words(place), '--json'])
        : await runAgainst(place, words(place))
    expectAnswer(run, expected)
    if (!isJudged || command !== 'deliver') return
    expect(filesBelow(join(place, 'deep/er/out'))).toEqual(['not-delivered.html', 'run.log'])
    rmSync(join(place, 'deep'), { recursive: true })
  })
})

describe.each([
  ['upmix', (place: string) => ['upmix', join(place, 'in.wav'), join(place, 'out.wav')]],
  ['fold', (place: string) => ['fold', join(place, 'in.wav'), join(place, 'out.wav'), '--to', 'mono']],
])('%s', (_, words) => {
  test.each(BAD.filter(([, , , [code]]) => code === 2))('%s', async (name, _bytes, _measure, expected) => {
    expectAnswer(await runAgainst(at(name), words(at(name))), expected)
  })

  test.each(['silence', 'too-short'])('%s is made into what it is', async (name) => {
    const run = await plimsollMust([...words(at(name)), '--json'], 0)
    expect(run.json().files[0].programmeLoudnessLkfs).toBeNull()
    expect(wavShape(at(`${name}/out.wav`)).frameCount).toBe(wavShape(at(`${name}/in.wav`)).frameCount)
    rmSync(at(`${name}/out.wav`))
  })
})

describe('verify', () => {
  test.each(BAD)('a file that is %s', async (name, _, expected) => {
    expectAnswer(await runAgainst(at(name), ['verify', at(`${name}/in.wav`), ...SPEC]), expected)
  })
})

describe('stems', () => {
  test('one that holds what is no number is refused, and so is one of another length', async () => {
    const place = ownFolder()
    writeFileSync(join(place, 'mix.wav'), whole)
    writeFileSync(join(place, 'nan.wav'), wav(FLOAT, floats(Number.NaN)))
    writeFileSync(join(place, 'short.wav'), wav(STEREO, good.subarray(600)))
    const words = (stem: string) => [
      'upmix',
      join(place, 'mix.wav'),
      join(place, 'out.wav'),
      '--through',
      join(place, stem),
      join(place, 's.wav'),
    ]
    expectAnswer(await runAgainst(place, words('nan.wav')), [2, 'JOBS_SOURCE_NOT_FINITE'])
    expectAnswer(await runAgainst(place, words('short.wav')), [2, 'JOBS_STEM_MISMATCH'])
    expectAnswer(await runAgainst(place, [...words('mix.wav').slice(0, -1), join(place, 'out.wav')]), [
      2,
      'JOBS_OUTPUT_EXISTS',
    ])
    expectAnswer(await runAgainst(place, [...words('mix.wav').slice(0, -1), join(place, 'mix.wav'), '--replace']), [
      2,
      'JOBS_OUTPUT_IS_SOURCE',
    ])
  })
})

describe('places', () => {
  /** Every command with a source and an output of its own. */
  const commands = (source: string, out: string): readonly (readonly string[])[] => [
    ['measure', source],
    ['deliver', source, ...SPEC, '--out', `${out}-folder`],
    ['fit', source, out, ...SPEC],
    ['upmix', source, out],
    ['fold', source, out, '--to', 'mono'],
    ['verify', source, ...SPEC],
  ]

  test('a source that is missing, a folder, or without permission', async () => {
    const place = ownFolder()
    const secret = join(place, 'secret.wav')
    writeFileSync(secret, whole)
    chmodSync(secret, 0o000)
    chmodSync(place, 0o777)
    const nobody = { uid: process.getuid?.() === 0 ? 65534 : undefined }
    for (const words of commands(join(place, 'nothing.wav'), join(place, 'out'))) {
      expectAnswer(await runAgainst(place, words), [2, 'MEDIA_NOT_FOUND'])
    }
    for (const words of commands(secret, join(place, 'out'))) {
      expectAnswer(await runAgainst(place, words, nobody), [2, 'MEDIA_NOT_READABLE'])
    }
    for (const words of commands(place, join(place, 'out'))) {
      const expected: Expected = words[0] === 'verify' ? [2, 'JOBS_NOT_A_DELIVERY'] : [2, 'MEDIA_IS_FOLDER']
      expectAnswer(await runAgainst(place, words), expected)
    }
  })

  test('an output in a folder that may not be written', async () => {
    const place = ownFolder()
    const [source, closed] = [join(place, 'in.wav'), join(place, 'closed')]
    writeFileSync(source, whole)
    mkdirSync(closed)
    chmodSync(place, 0o755)
    chmodSync(closed, 0o555)
    const nobody = { uid: process.getuid?.() === 0 ? 65534 : undefined }
    for (const words of commands(source, join(closed, 'out')).slice(1, -1)) {
      const run = await runAgainst(place, words, nobody)
      expect(['JOBS_OUTPUT_NOT_WRITABLE', 'MEDIA_OUTPUT_READ_ONLY']).toContain(run.json().refusal.code)
      expectAnswer(run, [2, run.json().refusal.code])
    }
    for (const words of commands(source, join(place, 'no/such/out')).slice(2, -1)) {
      expectAnswer(await runAgainst(place, words), [2, 'JOBS_OUTPUT_NOT_WRITABLE'])
    }
  })

  test('an output that is there already, of any kind', async () => {
    const place = ownFolder()
    const source = join(place, 'in.wav')
    writeFileSync(source, whole)
    writeFileSync(join(place, 'out'), 'precious')
    mkdirSync(join(place, 'out-folder'))
    for (const name of [
      'in_51.wav',
      'in_20.wav',
      'report.html',
      'report.pdf',
      'report.json',
      'plan.json',
      'sha256.txt',
      'manifest.json',
    ]) {
      writeFileSync(join(place, 'out-folder', name), 'precious')
      const words = ['deliver', source, ...SPEC, '--out', join(place, 'out-folder')]
      expectAnswer(await runAgainst(place, words), [2, 'JOBS_OUTPUT_EXISTS'])
      rmSync(join(place, 'out-folder', name))
    }
    for (const words of commands(source, join(place, 'out')).slice(2, -1)) {
      expectAnswer(await runAgainst(place, words), [2, 'JOBS_OUTPUT_EXISTS'])
      const folderOfThatName = words.map((word) => (word === join(place, 'out') ? join(place, 'out-folder') : word))
      expectAnswer(await runAgainst(place, [...folderOfThatName, '--replace']), [2, 'JOBS_OUTPUT_EXISTS'])
    }
    const onFile = ['deliver', source, ...SPEC, '--out', join(place, 'out')]
    expectAnswer(await runAgainst(place, onFile), [2, 'JOBS_OUTPUT_NOT_A_FOLDER'])
    for (const name of ['report.html', 'report.pdf', 'run.log', 'not-delivered.html', 'in_20.wav']) {
      mkdirSync(join(place, 'out-folder', name))
      const words = ['deliver', source, ...SPEC, '--out', join(place, 'out-folder'), '--replace']
      expect((await runAgainst(place, words)).json().refusal.code, name).toBe('JOBS_OUTPUT_EXISTS')
      rmdirSync(join(place, 'out-folder', name))
    }
    const series = ['measure', source, '--series', join(place, 'out')]
    expectAnswer(await runAgainst(place, series), [2, 'JOBS_OUTPUT_EXISTS'])
  })

  test('an output that is the source, also behind links', async () => {
    const place = ownFolder()
    const source = join(place, 'in_51.wav')
    writeFileSync(source, whole)
    linkSync(source, join(place, 'hard.wav'))
    symlinkSync(source, join(place, 'soft.wav'))
    symlinkSync(place, join(place, 'around'))
    const outs = ['in_51.wav', 'hard.wav', 'soft.wav', 'around/in_51.wav', './around/../in_51.wav'].map((name) =>
      join(place, name),
    )
    for (const out of outs) {
      for (const words of commands(source, out).slice(2, -1)) {
        expectAnswer(await runAgainst(place, [...words, '--replace']), [2, 'JOBS_OUTPUT_IS_SOURCE'])
      }
      const series = ['measure', source, '--series', out, '--replace']
      expectAnswer(await runAgainst(place, series), [2, 'JOBS_OUTPUT_IS_SOURCE'])
    }
    for (const out of [place, join(place, 'around')]) {
      const words = ['deliver', source, ...SPEC, '--title', 'in', '--out', out, '--replace']
      expectAnswer(await runAgainst(place, words), [2, 'JOBS_OUTPUT_IS_SOURCE'])
    }
  })

  test('names that are too long for a file system', async () => {
    const place = ownFolder()
    const source = join(place, `${'n'.repeat(245)}.wav`)
    writeFileSync(source, whole)
    const words = ['deliver', source, ...SPEC, '--out', join(place, 'out')]
    const told = await runAgainst(place, words)
    expectAnswer(told, [2, 'JOBS_OUTPUT_NOT_WRITABLE'])
    expect(told.json().refusal.remedy).toContain('--title')
    await plimsollMust([...words, '--title', 'short'], 0)
    const long = join(place, 'x'.repeat(250))
    for (const command of commands(source, long).slice(1, -1)) {
      expectAnswer(await runAgainst(place, command), [2, 'JOBS_OUTPUT_NOT_WRITABLE'])
    }
  })

  test('a source that is a file of the delivery which would be replaced', async () => {
    const place = ownFolder()
    copyFileSync(mixMaster(join(place, 'in.wav'), { seconds: 6 }), join(place, 'other.wav'))
    await plimsollMust(['deliver', join(place, 'in.wav'), ...SPEC, '--out', join(place, 'out')], 0)
    const source = join(place, 'out/in_20.wav')
    const sum = sha256(source)
    const words = ['deliver', source, ...SPEC, '--title', 'another', '--out', join(place, 'out'), '--replace']
    expectAnswer(await runAgainst(place, words), [2, 'JOBS_OUTPUT_IS_SOURCE'])
    expect(sha256(source)).toBe(sum)
  })

  test('a folder that is no delivery, or whose manifest is none', async () => {
    const place = ownFolder()
    for (const text of [
      '',
      '{}',
      '[]',
      'null',
      '{"version":1,"files":7}',
      '{"version":1,"files":[{"path":"../in.wav"}]}',
    ]) {
      writeFileSync(join(place, 'manifest.json'), text)
      expectAnswer(await runAgainst(place, ['verify', place, ...SPEC]), [2, 'JOBS_NOT_A_DELIVERY'])
    }
  })
})

describe('a source that somebody writes to while it is used', () => {
  /** Starts a delivery, does something to its source while it renders, and gives what the delivery says then. */
  async function runWhile(change: (source: string) => void): Promise<void> {
    const place = ownFolder()
    const source = mixMaster(join(place, 'in.wav'), { musicDb: -24, speechDb: -6, seconds: 60 })
    const { child, ended } = startPlimsoll(['deliver', source, ...SPEC, '--out', join(place, 'out'), '--json'])
    child.stderr?.once('data', () => change(source))
    const run = await ended
    expect(run.code, run.stderr).toBe(2)
    expect(run.json().refusal.code).toMatch(/^(?:JOBS_SOURCE_CHANGED|MEDIA_FILE_CHANGED)$/)
    expect(filesBelow(place)).toEqual(['in.wav'])
  }

  test('cut short', () => runWhile((source) => truncateSync(source, 100_000)))
  test('overwritten by other samples', () => runWhile((source) => writeFileSync(source, whole, { flag: 'r+' })))
  test('replaced by another file', () =>
    runWhile((source) => {
      writeFileSync(`${source}.new`, readFileSync(source))
      renameSync(`${source}.new`, source)
    }))
})

describe('refusals name no option that the command lacks', () => {
  const commands = (place: string): readonly (readonly string[])[] => [
    ['measure', join(place, 'in.wav')],
    ['inspect', join(place, 'in.wav')],
    ['passages', join(place, 'in.wav'), ...SPEC],
    ['upmix', join(place, 'in.wav'), join(place, 'out.wav')],
    ['fit', join(place, 'in.wav'), join(place, 'out.wav'), ...SPEC],
    ['fold', join(place, 'in.wav'), join(place, 'out.wav'), '--to', 'mono'],
    ['deliver', join(place, 'in.wav'), ...SPEC, '--out', join(place, 'out')],
    ['verify', join(place, 'in.wav'), ...SPEC],
    ['sheet', 'new', join(place, 'in.wav'), '--out', join(place, 'out.json')],
  ]
  const frames = (channelCount: number) => words24(soundOf(3 * SECOND, channelCount))
  const extensible = (channelCount: number, mask: number) => ({ channelCount, bits: 24, extensible: { mask } }) as const

  test.each([
    ['six channels without a mask', wav({ channelCount: 6, bits: 24 }, frames(6))],
    ['five channels without a mask', wav({ channelCount: 5, bits: 24 }, frames(5))],
    ['eight channels of another layout', wav(extensible(8, 0xff), frames(8))],
    ['six channels of another layout', wav(extensible(6, 0x707), frames(6))],
    ['seven channels', wav({ channelCount: 7, bits: 24 }, frames(7))],
    ['half a file', whole.subarray(0, 400_001)],
    ['full scale', wav(STEREO, words24(soundOf(SECOND, 2).map((sample) => Math.sign(sample) * 0.99)))],
    ['samples that are no numbers', wav(FLOAT, floats(Number.NaN))],
    ['a rate that nothing takes', wav({ ...STEREO, sampleRateHz: 22050 }, good)],
  ])('%s', async (_, bytes) => {
    const place = ownFolder()
    writeFileSync(join(place, 'in.wav'), bytes)
    for (const words of commands(place)) {
      const { code, stderr } = await plimsoll([...words, '--quiet'])
      if (code !== 2) continue
      // What stands in quotation marks is another command with options of its own.
      const named = stderr.replaceAll(/"[^"]*"/g, '').match(/--[a-z][a-z-]*/g) ?? []
      const help = await helpOf(words)
      for (const option of named) expect(help, `${words.join(' ')}: ${stderr}`).toContain(`${option} `)
    }
  })

  test('upmix takes six channels for what they are to it, whatever they are', async () => {
    const place = ownFolder()
    writeFileSync(join(place, 'in.wav'), wav({ channelCount: 6, bits: 24 }, frames(6)))
    const run = await runAgainst(place, ['upmix', join(place, 'in.wav'), join(place, 'out.wav')])
    expectAnswer(run, [2, 'JOBS_SOURCE_LAYOUT'])
    expect(run.json().refusal.found).toContain('6 channels')
    expect(run.json().refusal.remedy).toContain('plimsoll fit')
  })
})

const helps = new Map<string, Promise<string>>()

/** The help of the command, and of its part where it has parts. */
function helpOf([command = '', part = '']: readonly string[]): Promise<string> {
  const words = command === 'sheet' ? [command, part] : [command]
  const key = words.join(' ')
  const help = helps.get(key) ?? plimsollMust([...words, '--help'], 0).then(({ stdout }) => stdout)
  helps.set(key, help)
  return help
}

test('verify takes what was delivered, not the sheet; a sheet or a spec that is no text is told as that', async () => {
  const place = ownFolder()
  writeFileSync(join(place, 'in.wav'), whole)
  await plimsollMust(['sheet', 'new', join(place, 'in.wav'), '--out', join(place, 'title.json'), '--quiet'], 0)
  const ofSheet = await runAgainst(place, ['verify', join(place, 'title.json'), ...SPEC])
  expectAnswer(ofSheet, [2, 'JOBS_NOT_A_DELIVERY'])
  const asSheet = await runAgainst(place, ['sheet', 'check', join(place, 'in.wav')])
  expectAnswer(asSheet, [2, 'JOBS_SHEET_INVALID'])
  const asSpec = await runAgainst(place, ['measure', join(place, 'in.wav'), '--spec', join(place, 'in.wav')])
  expectAnswer(asSpec, [2, 'JOBS_SPEC_INVALID'])
  for (const run of [asSheet, asSpec]) expect(run.json().refusal.found).toBe('a file that is no text')
  writeFileSync(join(place, 'spec.json'), '{"specVersion": 1}')
  const listed = await plimsollMust(['measure', join(place, 'in.wav'), '--spec', join(place, 'spec.json')], 2)
  expect(listed.stderr).toMatch(/found \d problems:\n(?: {2}\S.*\n)+Needed: a valid spec file[.]\n/)
})

test('six channels that nothing tells apart are refused with what would help', async () => {
  const place = ownFolder()
  writeFileSync(join(place, 'in.wav'), wav({ channelCount: 6, bits: 24 }, words24(soundOf(3 * SECOND, 6))))
  const run = await runAgainst(place, ['measure', join(place, 'in.wav')])
  expectAnswer(run, [2, 'JOBS_LAYOUT_UNKNOWN'])
  expect(run.json().refusal.remedy).toMatch(/--order/)
  await plimsollMust(['measure', join(place, 'in.wav'), '--order', 'film'], 0)
})

test('a delivery on a medium that may only be read is verified, leftovers of a dead run or not', async () => {
  const place = ownFolder()
  mixMaster(join(place, 'in.wav'), { seconds: 6 })
  const out = join(place, 'out')
  await plimsollMust(['deliver', join(place, 'in.wav'), ...SPEC, '--out', out], 0)
  const nobody = { uid: process.getuid?.() === 0 ? 65534 : undefined }
  chmodSync(place, 0o755)
  for (const leftover of [null, '.plimsoll-work', '.plimsoll-lock']) {
    if (leftover === '.plimsoll-work') mkdirSync(join(out, leftover))
    if (leftover === '.plimsoll-lock') writeFileSync(join(out, leftover), '{"pid":1073741823,"host":"x"}')
    chmodSync(out, 0o555)
    await plimsollMust(['verify', out, ...SPEC], leftover === '.plimsoll-lock' ? 2 : 0, nobody)
    chmodSync(out, 0o755)
  }
})

describe('words', () => {
  const source = at('silence/in.wav')

  test('an unknown setting is refused with the nearest name, a value with its range', async () => {
    const deliver = ['deliver', source, ...SPEC, '--out', at('silence/never')]
    const misspelt = await runAgainst(at('silence'), [...deliver, '--set', 'surroundDelayMS=12'])
    expectAnswer(misspelt, [2, 'CLI_SETTING_UNKNOWN'])
    expect(misspelt.json().refusal.remedy).toContain('surroundDelayMs')
    for (const [word, code] of [
      ['surroundDelayMs=400', 'CLI_SETTING_VALUE'],
      ['surroundDelayMs=', 'CLI_SETTING_VALUE'],
      ['surroundDelayMs=1e999', 'CLI_SETTING_VALUE'],
      ['surroundSpread=wide', 'CLI_SETTING_VALUE'],
      ['surroundDelayMs', 'CLI_SETTING_FORM'],
      ['=3', 'CLI_SETTING_FORM'],
      ['constructor=3', 'CLI_SETTING_UNKNOWN'],
      ['__proto__=3', 'CLI_SETTING_UNKNOWN'],
    ] as const) {
      expectAnswer(await runAgainst(at('silence'), [...deliver, '--set', word]), [2, code])
    }
  })

  test('a spec that is unknown, or a spec file with problems, all of them told', async () => {
    const place = ownFolder()
    writeFileSync(join(place, 'in.wav'), whole)
    const words = (spec: string) => ['deliver', join(place, 'in.wav'), '--spec', spec, '--out', join(place, 'out')]
    const unknown = await runAgainst(place, words('atsc-a85-shrt'))
    expectAnswer(unknown, [2, 'JOBS_SPEC_UNKNOWN'])
    expect(unknown.json().refusal.remedy).toContain('"atsc-a85-short"')
    const path = join(place, 'mine.json')
    writeFileSync(path, '{ "specVersion": 1, "id": "x", ')
    expectAnswer(await runAgainst(place, words(path)), [2, 'JOBS_SPEC_INVALID'])
    writeFileSync(
      path,
      JSON.stringify({ specVersion: 1, id: 'Not so', programmeLoudness: { targetLkfs: 24 }, maxTruePeak: -1 }),
    )
    const told = await runAgainst(place, words(path))
    expectAnswer(told, [2, 'JOBS_SPEC_INVALID'])
    for (const place of ['id', 'title', 'programmeLoudness.targetLkfs', 'maxTruePeak']) {
      expect(told.stderr).toContain(place)
    }
    expect(told.stderr).toContain('maxTruePeakDbtp')
    expectAnswer(await runAgainst(place, words(place)), [2, 'JOBS_SPEC_INVALID'])
    expectAnswer(await runAgainst(place, ['specs', 'check', join(place, 'none.json')]), [2, 'JOBS_SPEC_UNKNOWN'])
  })

  test('words that no command knows', async () => {
    for (const words of [
      ['delivre', source],
      ['deliver'],
      ['deliver', source],
      ['deliver', source, ...SPEC],
      ['measure'],
      ['measure', source, '--spce', 'x'],
      ['measure', source, '--workers', '0'],
      ['measure', source, '--workers', 'all'],
      ['measure', source, '--order', 'dolphin'],
      ['fold', source, at('silence/o.wav')],
      ['fold', source, at('silence/o.wav'), '--to', 'stereo'],
      ['fit', source, at('silence/o.wav'), ...SPEC, '--bits', '20'],
    ]) {
      const run = await runAgainst(at('silence'), words)
      expect(run.code, words.join(' ')).toBe(2)
      expectAnswer(run, [2, 'CLI_USAGE'])
    }
  })

  test('in the help of a command every setting stands in a column of its own', async () => {
    for (const command of ['deliver', 'fit', 'upmix']) {
      const { stdout } = await plimsollMust([command, '--help'], 0)
      const rows = stdout.split('\n').filter((line) => /^ {2}[a-z]+[A-Za-z]* *\S.*, default /.test(line))
      expect(rows.length).toBeGreaterThan(20)
      for (const row of rows) expect(row).toMatch(/^ {2}[A-Za-z]+ {2,}\S/)
      expect(new Set(rows.map((row) => row.search(/(?<= {2})\S.*, default/))).size).toBe(1)
    }
  })

  test('a misspelt option is told with the right one, and a file that begins with a dash with how to name it', async () => {
    const place = ownFolder()
    writeFileSync(join(place, '-dash.wav'), whole)
    const misspelt = await plimsoll(['measure', source, '--spce', 'ebu-r128'])
    expect([misspelt.code, misspelt.stderr]).toEqual([2, expect.stringContaining('Did you mean --spec?')])
    const dashed = await plimsoll(['measure', '-dash.wav'], { cwd: place })
    expect([dashed.code, dashed.stderr]).toEqual([2, expect.stringContaining('write it as "./-dash.wav"')])
    expect((await plimsoll(['measure', './-dash.wav', '--no-speech'], { cwd: place })).code).toBe(0)
  })

  test('names that would steer a terminal are shown, not obeyed; a name with a line end is told in one line', async () => {
    const place = ownFolder()
    const name = '\u001b[2Jclear\u202e\u009b1m.wav'
    writeFileSync(join(place, name), whole)
    const told = await plimsoll(['measure', name, '--no-speech'], { cwd: place })
    expect(told.code).toBe(0)
    expect(told.stdout).toContain('\\u001b[2Jclear\\u202e\\u009b1m.wav')
    for (const sign of ['\u001b', '\u009b', '\u202e']) expect(told.stdout).not.toContain(sign)
    const gone = await plimsoll(['measure', 'reel\none\u0007.wav'], { cwd: place })
    expect(gone.stderr).toContain('Cannot read "reel\\none\\u0007.wav": found nothing at this path')
    expect(gone.stderr).not.toContain('\u0007')
  })

  test('links that lead back to themselves, and a name that no file can have', async () => {
    const place = ownFolder()
    symlinkSync(join(place, 'two.wav'), join(place, 'one.wav'))
    symlinkSync(join(place, 'one.wav'), join(place, 'two.wav'))
    const looped = await plimsoll(['measure', join(place, 'one.wav'), '--json'])
    expectAnswer(looped, [2, 'MEDIA_NOT_FOUND'])
    expect(looped.stderr).toContain('links that lead back to themselves')
    const long = await plimsoll(['measure', join(place, `${'x'.repeat(300)}.wav`), '--json'])
    expectAnswer(long, [2, 'MEDIA_NOT_FOUND'])
    writeFileSync(join(place, 'in.wav'), whole)
    for (const name of ['two.wav', `${'x'.repeat(300)}.wav`]) {
      const out = await plimsoll(['fold', join(place, 'in.wav'), join(place, name), '--to', 'mono', '--json'])
      expectAnswer(out, [2, 'JOBS_OUTPUT_NOT_WRITABLE'])
    }
  })

  test('an upmix that is told neither where to write nor what to explain', async () => {
    expectAnswer(await runAgainst(at('silence'), ['upmix', source]), [2, 'CLI_UPMIX_OUTPUT'])
  })

  test('layouts that cannot be those of the file', async () => {
    for (const words of [
      ['--layout', '5.1'],
      ['--layout', 'mono'],
      ['--order', 'film'],
    ]) {
      expectAnswer(await runAgainst(at('silence'), ['measure', source, ...words]), [2, 'MEDIA_LAYOUT_MISMATCH'])
    }
  })

  test('a rate that the spec does not take', async () => {
    const place = ownFolder()
    writeFileSync(join(place, 'in.wav'), wav({ ...STEREO, sampleRateHz: 44100 }, good))
    writeFileSync(
      join(place, 'spec.json'),
      readFileSync(new URL('../../docs/examples/north-coast-spec.json', import.meta.url)),
    )
    const words = ['deliver', join(place, 'in.wav'), '--spec', join(place, 'spec.json'), '--out', join(place, 'out')]
    expectAnswer(await runAgainst(place, words), [2, 'JOBS_SAMPLE_RATE'])
  })

  test('layouts that a command has no use for', async () => {
    const place = ownFolder()
    writeFileSync(join(place, 'mono.wav'), wav({ channelCount: 1, bits: 24 }, good))
    writeFileSync(join(place, 'surround.wav'), wav({ channelCount: 6, bits: 24, extensible: { mask: 0x3f } }, good))
    const [source, surround, out] = [join(place, 'mono.wav'), join(place, 'surround.wav'), join(place, 'out')]
    for (const words of [
      ['deliver', source, ...SPEC, '--out', out],
      ['upmix', surround, out],
      ['fold', source, out, '--to', 'lo-ro'],
    ]) {
      expectAnswer(await runAgainst(place, words), [2, 'JOBS_SOURCE_LAYOUT'])
    }
  })
})

test(
  'a source is never opened for writing: a read-only medium is enough',
  async () => {
    const place = ownFolder()
    const source = mixMaster(join(place, 'in.wav'), { seconds: 6 })
    const sum = sha256(source)
    cpSync(source, join(place, 'stem.wav'))
    chmodSync(source, 0o444)
    const out = ownFolder()
    for (const words of [
      ['measure', source],
      ['deliver', source, ...SPEC, '--out', join(out, 'folder')],
      ['fit', source, join(out, 'fit.wav'), ...SPEC],
      [
        'upmix',
        source,
        join(out, 'upmix.wav'),
        '--gain',
        '-6',
        '--through',
        join(place, 'stem.wav'),
        join(out, 'stem.wav'),
      ],
      ['fold', source, join(out, 'mono.wav'), '--to', 'mono', '--gain', '-6'],
    ]) {
      const before = snapshot(place)
      await plimsollMust(words, 0)
      expect(snapshot(place)).toEqual(before)
    }
    expect(sha256(source)).toBe(sum)
    expect(byNumpy<{ peaks: number[] }>('peaks', source).peaks).toHaveLength(2)
  },
  PREPARATION_MS,
)

// What every command promises on its two outputs: JSON, progress, silence, help, exit codes.
import { execFileSync, spawnSync } from 'node:child_process'
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { beforeAll, describe, expect, test } from 'vitest'
import type { ZodType } from 'zod'
import {
  deliveryDocument,
  manifestDocument,
  measureDocument,
  passagesDocument,
  readSpecFile,
  refusalDocument,
  upmixDocument,
  verifyDocument,
  writtenDocument,
} from '../../src/protocol/index.ts'
import { fileFolder, filesBelow, ownFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'

const PROGRAM = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url))
const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SPEC = ['--spec', 'atsc-a85-short']

beforeAll(async () => {
  mixMaster(at('master.wav'), { musicDb: -24, speechDb: -6, seconds: 20 })
  await plimsollMust(['deliver', at('master.wav'), ...SPEC, '--out', at('delivery')], 0)
  await plimsollMust(['deliver', at('master.wav'), '--spec', 'ebu-r128', '--out', at('other')], 0)
}, PREPARATION_MS)

type Case = readonly [name: string, words: (out: string) => readonly string[], code: number, document: ZodType]

const CASES: readonly Case[] = [
  ['measure', () => ['measure', at('master.wav'), at('delivery/master_51.wav')], 0, measureDocument],
  ['measure against a spec', () => ['measure', at('delivery/master_51.wav'), ...SPEC], 0, measureDocument],
  [
    'measure against a spec that is missed',
    () => ['measure', at('master.wav'), '--spec', 'ebu-r128'],
    1,
    measureDocument,
  ],
  ['passages', () => ['passages', at('delivery/master_51.wav'), ...SPEC], 0, passagesDocument],
  ['deliver', (out) => ['deliver', at('master.wav'), ...SPEC, '--out', out], 0, deliveryDocument],
  ['verify of a folder', () => ['verify', at('delivery'), ...SPEC], 0, verifyDocument],
  ['verify of a folder by another spec', () => ['verify', at('delivery'), '--spec', 'ebu-r128'], 1, verifyDocument],
  ['verify of a file', () => ['verify', at('delivery/master_20.wav'), ...SPEC], 0, verifyDocument],
  ['upmix', (out) => ['upmix', at('master.wav'), out, '--gain', '-6'], 0, upmixDocument],
  [
    'upmix with a stem',
    (out) => ['upmix', at('master.wav'), out, '--gain', '-6', '--through', at('master.wav'), `${out}-2`],
    0,
    upmixDocument,
  ],
  ['fold', (out) => ['fold', at('delivery/master_51.wav'), out, '--to', 'lt-rt'], 0, writtenDocument],
  ['fit', (out) => ['fit', at('master.wav'), out, '--spec', 'ebu-r128'], 0, deliveryDocument],
  ['a refusal', () => ['measure', at('nothing.wav')], 2, refusalDocument],
  [
    'measure of several, one of which is none',
    () => ['measure', at('nothing.wav'), at('master.wav')],
    2,
    measureDocument,
  ],
  ['words that are not understood', () => ['measure', '--nonsense'], 2, refusalDocument],
]

describe('--json: one document on stdout, of the form that is promised, and nothing else there', () => {
  test.each(CASES)('%s', async (_, words, code, schema) => {
    const run = await plimsollMust([...words(join(ownFolder(), 'out')), '--json'], code)
    const document = run.json()
    // Equal: nothing is printed that the form does not name.
    expect(schema.parse(document)).toEqual(document)
    expect(document.version).toBe(1)
    expect(run.stdout.endsWith('}\n')).toBe(true)
  })

  test('the exit code says what the document says', async () => {
    const run = await plimsollMust(
      ['measure', at('master.wav'), at('other/master_51.wav'), '--spec', 'ebu-r128', '--json'],
      1,
    )
    expect(run.json().files.map((file: { conforms: boolean }) => file.conforms)).toEqual([false, true])
  })

  test('one file of several that cannot be read costs the others nothing', async () => {
    const run = await plimsollMust(['measure', at('nothing.wav'), at('master.wav'), '--json'], 2)
    const { files, refused } = run.json()
    expect(files.map((file: { path: string }) => file.path)).toEqual([at('master.wav')])
    expect(refused).toMatchObject([{ path: at('nothing.wav'), refusal: { code: 'MEDIA_NOT_FOUND' } }])
  })

  test('manifest.json has its form, and names no file outside', () => {
    const document = JSON.parse(readFileSync(at('delivery/manifest.json'), 'utf8'))
    expect(manifestDocument.parse(document)).toEqual(document)
  })

  test('specs', async () => {
    const { specs } = (await plimsollMust(['specs', '--json'], 0)).json()
    expect(specs.map((spec: { id: string }) => spec.id)).toEqual(
      expect.arrayContaining(['atsc-a85', 'atsc-a85-short', 'ebu-r128', 'ebu-r128-s1', 'arib-tr-b32', 'freetv-op59']),
    )
    for (const { id } of specs) {
      expect((await plimsollMust(['specs', 'show', id, '--json'], 0)).json().spec.id).toBe(id)
    }
    const example = JSON.parse((await plimsollMust(['specs', 'example'], 0)).stdout)
    expect(readSpecFile(example).problems).toBeNull()
    expect(JSON.parse((await plimsollMust(['specs', 'schema'], 0)).stdout).properties).toHaveProperty('specVersion')
    const path = join(ownFolder(), 'mine.json')
    writeFileSync(path, JSON.stringify(example))
    expect((await plimsollMust(['specs', 'check', path, '--json'], 0)).json().valid).toBe(true)
  })
})

describe('progress', () => {
  const WORKING = CASES.filter(([, , code]) => code !== 2)

  test.each(WORKING)('%s: plain lines on stderr where that is no terminal', async (_, words, code) => {
    const run = await plimsollMust(words(join(ownFolder(), 'out')), code)
    expect(run.stderr).toMatch(/^(?:[a-z ]+: \d+% of the run\n)+$/)
    expect(run.stdout).not.toMatch(/% of the run|\r/)
    expect(run.stdout.length).toBeGreaterThan(0)
  })

  test.each(WORKING)('%s --quiet: no word at all', async (_, words, code) => {
    const run = await plimsollMust([...words(join(ownFolder(), 'out')), '--quiet'], code)
    expect([run.stdout, run.stderr]).toEqual(['', ''])
  })

  test('--quiet --json: the document alone', async () => {
    const run = await plimsollMust(['measure', at('master.wav'), '--quiet', '--json'], 0)
    expect(run.stderr).toBe('')
    expect(run.json().files).toHaveLength(1)
  })

  test('shares never fall and the stages come in their order', async () => {
    const { stderr } = await plimsollMust(['deliver', at('master.wav'), ...SPEC, '--out', join(ownFolder(), 'out')], 0)
    const shares = [...stderr.matchAll(/(\d+)% of the run/g)].map((match) => Number(match[1]))
    expect(shares).toEqual(shares.toSorted((a, b) => a - b))
    expect(shares.at(-1)).toBeGreaterThan(75)
    expect(stderr).toMatch(/analysing.*rendering.*verifying/s)
  })

  test('a bar with percent and time left on a terminal, gone at the end; nothing of it on stdout', () => {
    const long = mixMaster(at('long.wav'), { musicDb: -24, speechDb: -6, seconds: 120 })
    const script = fileURLToPath(new URL('../testkit/cli-terminal.py', import.meta.url))
    const words = ['deliver', long, ...SPEC, '--out', at('long-delivery'), '--workers', '1', '--json']
    const printed = execFileSync('/usr/bin/python3', [script, process.execPath, PROGRAM, ...words], {
      encoding: 'utf8',
    })
    const { code, stdout, terminal } = JSON.parse(printed)
    expect(code).toBe(0)
    const drawn = terminal.split('\r').filter((line: string) => line.includes('%'))
    expect(drawn.length).toBeGreaterThan(5)
    for (const line of drawn) expect(line).toMatch(/^\[=* *\] {1,4}\d+% {2}\D+/)
    expect(drawn.some((line: string) => /, (?:\d+ min )?\d+ s left/.test(line))).toBe(true)
    // The last thing is the erasure of the line.
    expect(terminal.endsWith('\r\x1b[K')).toBe(true)
    expect(deliveryDocument.parse(JSON.parse(stdout)).conforms).toBe(true)
  })
})

describe('help', () => {
  test.each(['measure', 'deliver', 'verify', 'upmix', 'fit', 'fold', 'specs'])(
    '%s --help has examples',
    async (command) => {
      const run = await plimsollMust([command, '--help'], 0)
      expect(run.stderr).toBe('')
      expect(run.stdout).toMatch(new RegExp(`Usage: plimsoll ${command}`))
      expect(run.stdout).toMatch(new RegExp(`Examples:\\n(?:  plimsoll ${command}.*\\n)+`))
      const examples = [...run.stdout.matchAll(/^ {2}plimsoll (.+)$/gm)].map((match) => match[1] as string)
      expect(examples.length).toBeGreaterThanOrEqual(2)
      // Every option of every example is an option of the command.
      for (const option of examples.join(' ').match(/--[a-z-]+/g) ?? []) expect(run.stdout).toContain(`${option}`)
    },
  )

  test('plimsoll help, --help and --version', async () => {
    for (const words of [['help'], ['--help'], ['help', 'deliver']]) {
      expect((await plimsollMust(words, 0)).stdout).toMatch(/Usage: plimsoll/)
    }
    const { version } = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8'))
    expect((await plimsollMust(['--version'], 0)).stdout).toBe(`${version}\n`)
  })

  test('a slip of the finger is answered with the word that was meant', async () => {
    expect((await plimsollMust(['mesure', 'x.wav'], 2)).stderr).toContain('measure')
    expect((await plimsollMust(['deliver', 'x.wav', '--sepc', 'x', '--out', 'y'], 2)).stderr).toContain('--spec')
  })
})

describe('measure --series', () => {
  test('a value every 100 ms, as CSV that NumPy reads', async () => {
    const csv = join(ownFolder(), 'series.csv')
    const run = await plimsollMust(['measure', at('master.wav'), '--series', csv, '--json'], 0)
    const script = [
      'import numpy, sys',
      't = numpy.genfromtxt(sys.argv[1], delimiter=",", names=True)',
      'print(len(t), t["seconds"][0], t["seconds"][-1], numpy.nanmax(t["shortTermLkfs"]), numpy.nanmax(t["momentaryLkfs"]))',
    ].join('\n')
    const numbers = execFileSync('/usr/bin/python3', ['-c', script, csv], { encoding: 'utf8' }).split(' ').map(Number)
    const [rows, first, last, shortTerm, momentary] = numbers as [number, number, number, number, number]
    // 20 s: the first full momentary window ends at 0.4 s, the last at 20 s.
    expect([rows, first, last]).toEqual([197, 0.4, 20])
    const { maxShortTermLkfs, maxMomentaryLkfs } = run.json().files[0]
    expect(shortTerm).toBeLessThanOrEqual(maxShortTermLkfs + 0.005)
    expect(shortTerm).toBeGreaterThan(maxShortTermLkfs - 0.2)
    expect(momentary).toBeLessThanOrEqual(maxMomentaryLkfs + 0.005)
    await plimsollMust(['measure', at('master.wav'), at('master.wav'), '--series', csv, '--replace'], 2)
  })
})

describe('outputs that go away', () => {
  test('a reader that has seen enough breaks nothing off', () => {
    const script = 'set -o pipefail; "$@" | head -c 20 > /dev/null; echo $?'
    const words = ['deliver', at('master.wav'), ...SPEC, '--out', at('piped'), '--json']
    const { stdout, stderr } = spawnSync('bash', ['-c', script, 'bash', process.execPath, PROGRAM, ...words], {
      encoding: 'utf8',
    })
    expect(stdout).toBe('0\n')
    expect(stderr).not.toMatch(/\n\s+at \S/)
    expect(filesBelow(at('piped'))).toContain('manifest.json')
  })

  test('an output that takes nothing is told, and no stack is shown', () => {
    const script = '"$@" > /dev/full; echo $?'
    const words = [PROGRAM, 'measure', at('master.wav'), '--json']
    const { stdout, stderr } = spawnSync('bash', ['-c', script, 'bash', process.execPath, ...words], {
      encoding: 'utf8',
    })
    expect(stdout).toBe('2\n')
    expect(stderr).toContain('CLI_OUTPUT_LOST')
    expect(stderr).not.toMatch(/\n\s+at \S/)
  })

  test('a closed stderr is no reason to stop', () => {
    const words = ['deliver', at('master.wav'), ...SPEC, '--out', at('unheard')]
    const { stdout } = spawnSync(
      'bash',
      ['-c', '"$@" 2>&- > /dev/null; echo $?', 'bash', process.execPath, PROGRAM, ...words],
      {
        encoding: 'utf8',
      },
    )
    expect(stdout).toBe('0\n')
  })
})
